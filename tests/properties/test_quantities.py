"""What is printed reads back as the same value; any text is read, or refused as declared; without Django."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from gardens import quantities as q
from gardens.quantity_grammar import Sides
from gardens.quantity_values import rounded

systems = st.sampled_from(["metric", "us"])
counts = st.integers(1, 30)
sides = st.fractions(min_value=1, max_value=100_000, max_denominator=1000)  # mm
PARSERS: list[Callable[[str], Any]] = [
    q.parse_mass,
    q.parse_length,
    q.parse_measure,
    q.parse_area,
    q.parse_volume,
    q.parse_rate,
]


@given(st.integers(0, 10**12), systems)
def test_a_mass_reads_back(milligrams: int, system: Any) -> None:
    mass = q.Mass(milligrams)
    assert q.parse_mass(q.print_mass(mass, system)) == mass


@given(st.integers(0, 10**7), systems)
def test_a_length_reads_back(millimetres: int, system: Any) -> None:
    length = q.Length(millimetres)
    assert q.parse_length(q.print_length(length, system)) == length


@given(st.integers(0, 10**12), systems)
def test_a_volume_reads_back(microlitres: int, system: Any) -> None:
    volume = q.Volume(microlitres)
    assert q.parse_volume(q.print_volume(volume, system)) == volume


@given(st.integers(0, 10**11), systems)
def test_a_rate_reads_back(ug_per_m2: int, system: Any) -> None:
    rate = q.Rate(ug_per_m2)
    assert q.parse_rate(q.print_rate(rate, system)) == rate


@given(
    st.one_of(
        st.builds(Sides, st.just("area"), counts, st.tuples(st.integers(1, 10**13))),
        st.builds(Sides, st.sampled_from(["circle", "pot"]), counts, st.tuples(sides)),
        st.builds(Sides, st.sampled_from(["rectangle", "row"]), counts, st.tuples(sides, sides)),
    ),
    systems,
)
def test_a_measure_of_any_sides_reads_back(exact: Sides, system: Any) -> None:
    measure = rounded(exact)
    assert q.parse_measure(q.print_measure(measure, system)) == measure


@given(st.integers(1, 999), st.integers(0, 999), st.sampled_from(".,"))
def test_two_readings_differ_and_are_never_guessed(whole: int, part: int, mark: str) -> None:
    try:
        q.parse_mass(f"{whole}{mark}{part:03d} g")
    except q.AmbiguousQuantity as refusal:
        decimal, grouped = sorted(q.parse_mass(reading).milligrams for reading in refusal.readings)
        assert (decimal, grouped) == (whole * 1000 + part, (whole * 1000 + part) * 1000)
    else:
        raise AssertionError("guessed")


PIECES = [
    *"480-×/,.'\"½²e\u00a0", "1.5", "1,5", "1.500", "1/2", "1/0", "x", "by", "of", "and", "per", "ft", "in",
    "m", "cm", "m2", "ft²", "^2", "sq", "acre", "kg", "lb", "oz", "g", "mg", "cup", "tsp", "fl", "L", "row",
    "wide", "circle", "pots", "beds", "9999999999999", "1e400", "NaN", "bags",
]  # fmt: skip
pieces = st.sampled_from(PIECES)
texts = st.one_of(
    st.text(max_size=220),
    st.text(alphabet="0123456789.,/ x×'\"½²ftmkglboz-", max_size=30),
    st.lists(pieces, max_size=9).map(" ".join),
    st.lists(pieces, max_size=9).map("".join),
)


@given(texts, st.sampled_from(PARSERS))
def test_any_text_is_read_or_refused_as_declared(text: str, parse: Callable[[str], Any]) -> None:
    try:
        value = parse(text)
    except q.QuantityError as refusal:
        assert 0 <= refusal.position <= len(text)
        assert refusal.rest == text[refusal.position :]
        assert refusal.message.endswith((".", "?"))
        assert all(parse(example) is not None for example in refusal.examples)
    else:
        assert value is not None


@given(texts, st.sampled_from(["ft", "m", "m2"]))
def test_what_is_read_from_any_text_prints_and_reads_back(text: str, unit: str) -> None:
    try:
        measure = q.parse_measure(text, default_unit=unit)
    except q.QuantityError:
        return
    assert measure.area_mm2 > 0
    assert q.echo_measure(measure)
    assert q.parse_measure(q.print_measure(measure, "us")) == measure
    assert q.parse_measure(q.print_measure(measure)) == measure


def test_quantities_import_and_work_without_django() -> None:
    script = (
        "import sys; sys.modules['django'] = None; from gardens.quantities import *; "
        "assert 'pint' not in sys.modules; print(echo_measure(parse_measure('4 x 8 ft')))"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.replace("\u00a0", " ").strip() == "2.97 m², 32 ft²"
