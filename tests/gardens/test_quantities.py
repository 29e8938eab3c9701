"""Quantities as people write them: what is understood, what is refused, what is printed and echoed."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from typing import Any

import pytest

from gardens.quantities import (
    AmbiguousQuantity,
    Length,
    Mass,
    Measure,
    QuantityError,
    Rate,
    Volume,
    echo_length,
    echo_mass,
    echo_measure,
    echo_rate,
    echo_volume,
    parse_area,
    parse_length,
    parse_mass,
    parse_measure,
    parse_rate,
    parse_volume,
    print_length,
    print_mass,
    print_measure,
    print_rate,
    print_volume,
)

BED = Measure("rectangle", 1, 2972897, 1219, 2438)  # 4 x 8 ft = 1219.2 x 2438.4 mm = 2 972 897.28 mm²
SHORT_BED = Measure("rectangle", 1, 3344509, 1372, 2438)  # 4.5 x 8 ft
METRIC_BED = Measure("rectangle", 1, 3600000, 1200, 3000)
POT = Measure("pot", 5, 72966, 305, None)  # pi/4 x 304.8²
CIRCLE = Measure("circle", 1, 2626772, 1829, None)  # pi/4 x 1828.8²
ROW = Measure("row", 1, 4180637, 9144, 457)  # 45 ft²


def area(mm2: int, count: int = 1) -> Measure:
    return Measure("area", count, mm2, None, None)


def twice(measure: Measure) -> Measure:
    return Measure(measure.shape, 2, measure.area_mm2, measure.a_mm, measure.b_mm)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("4 x 8 ft", BED),
        ("4x8ft", BED),
        ("4 X 8 FT.", BED),
        ("4 х 8 ft", BED),  # Cyrillic
        ("4' x 8'", BED),
        ("4’ × 8’", BED),
        ("48 x 96 in", BED),
        ("48″ x 8′", BED),
        ("4 feet by 8 feet", BED),
        ("1 1/3 yd x 8 ft", BED),
        ("  4\u00a0x\u20098\u202fft ", BED),
        ("4 ft 6 in x 8 ft", SHORT_BED),
        ("4'6\"x8'", SHORT_BED),
        ("4' 6'' x 8'", SHORT_BED),
        ("4 ft, 6 in x 8 ft", SHORT_BED),
        ("4½ x 8 ft", SHORT_BED),
        ("4 1/2 x 8 ft", SHORT_BED),
        ("4-1/2 x 8 ft", SHORT_BED),
        ("4.5 x 8 ft", SHORT_BED),
        ("1,2 × 3 m", METRIC_BED),
        ("1.2 × 3 m", METRIC_BED),
        ("1.2m by 3m", METRIC_BED),
        ("1.2mx3m", METRIC_BED),
        ("120 cm x 3 m", METRIC_BED),
        ("1 200 x 3 000 mm", METRIC_BED),
        ("1 m 20 cm x 3 m", METRIC_BED),
        ("1.2 metres × 3 meters", METRIC_BED),
        ("6 ft circle", CIRCLE),
        ("6' across", CIRCLE),
        ("72 in round", CIRCLE),
        ("2 x 6 ft circle", twice(CIRCLE)),
        ("2 circles of 6 ft", twice(CIRCLE)),
        ("30 ft row 18 in wide", ROW),
        ("30 ft row, 1 1/2 ft wide", ROW),
        ("30' row 18\" apart", ROW),
        ("2 × 30 ft row 18 in wide", twice(ROW)),
        ("2 rows of 30 x 1.5 ft", twice(ROW)),
        ("2 × 4 x 8 ft", twice(BED)),
        ("2 beds of 4 x 8 ft", twice(BED)),
        ("2 × 4' x 8'", twice(BED)),
        ("2 beds of 4 x 8 ft", twice(BED)),
        ("2 beds 4 x 8 ft", twice(BED)),
        ("5 pots of 12 in", POT),
        ("5 pots 1 ft", POT),
        ("5 x 12 in pots", POT),
        ("30 m2", area(30_000_000)),
        ("30 m²", area(30_000_000)),
        ("30 m^2", area(30_000_000)),
        ("30 sq m", area(30_000_000)),
        ("30 square metres", area(30_000_000)),
        ("200 sq ft", area(18_580_608)),
        ("200 sq. ft.", area(18_580_608)),
        ("200 sqft", area(18_580_608)),
        ("32 ft²", area(2972897)),
        ("1,234,567 mm2", area(1_234_567)),
        ("2 × 30 m2", area(30_000_000, count=2)),
        ("0.500 x 2 m", Measure("rectangle", 1, 1_000_000, 500, 2000)),
        ("1/4 acre", area(1_011_714_106)),
        ("0.5 ha", area(5_000_000_000)),
        ("1 acre 440 sq ft", area(4_087_733_760)),
    ],
)
def test_a_measure_is_read(text: str, expected: Measure) -> None:
    assert parse_measure(text) == expected


@pytest.mark.parametrize(
    ("text", "milligrams"),
    [
        ("2 lb 4 oz", 1_020_583),  # 36 x 28 349.523125
        ("2lb4oz", 1_020_583),
        ("2 lbs. 4 oz.", 1_020_583),
        ("2 lb, 4 oz", 1_020_583),
        ("2 lb,4 oz", 1_020_583),
        ("2 pounds and 4 ounces", 1_020_583),
        ("1.5 kg", 1_500_000),
        ("1,5 kg", 1_500_000),
        ("1 kg 500 g", 1_500_000),
        ("½ lb", 226_796),
        ("1/2 lb", 226_796),
        ("3 1/2 lb", 1_587_573),
        ("3½ lb", 1_587_573),
        ("3 ½ lb", 1_587_573),
        ("1⁄2 lb", 226_796),
        ("1 500 g", 1_500_000),
        ("1\u00a0500 g", 1_500_000),
        ("1\u2009500 g", 1_500_000),
        ("1\u202f500\u202f000 mg", 1_500_000),
        ("1 500,250 g", 1_500_250),
        ("0.500 kg", 500_000),
        ("0,500 kg", 500_000),
        (".5 kg", 500_000),
        ("1,234.5 g", 1_234_500),
        ("1.234,5 g", 1_234_500),
        ("1,234.567 g", 1_234_567),
        ("1,234,567 mg", 1_234_567),
        ("1.234.567 mg", 1_234_567),
        ("1234.567 g", 1_234_567),  # four digits before a mark are no group
        ("0.0004 g", 0),
        ("0.0005 g", 1),  # half-up
        ("0 g", 0),
        ("0.25 t", 250_000_000),
        ("5 Kilos", 5_000_000),
    ],
)
def test_a_mass_is_read(text: str, milligrams: int) -> None:
    assert parse_mass(text) == Mass(milligrams)


@pytest.mark.parametrize(
    ("text", "microlitres"),
    [
        ("1 1/2 cups", 354_882),
        ("2 tbsp", 29_574),
        ("1 tsp", 4_929),
        ("8 fl oz", 236_588),
        ("8 fl. oz.", 236_588),
        ("1 cup 2 tbsp", 266_162),
        ("5 gal", 18_927_059),
        ("2 quarts", 1_892_706),
        ("20 L", 20_000_000),
        ("2,5 dl", 250_000),
    ],
)
def test_a_volume_is_read(text: str, microlitres: int) -> None:
    assert parse_volume(text) == Volume(microlitres)


@pytest.mark.parametrize(
    ("text", "ug_per_m2"),
    [
        ("3 lb/1000 ft²", 14_647_283),
        ("3 lb / 1000 sq ft", 14_647_283),
        ("3 lb per 1 000 sq. ft.", 14_647_283),
        ("48 oz/1000 ft2", 14_647_283),
        ("15 g/m2", 15_000_000),
        ("15 g per square metre", 15_000_000),
        ("1,5 kg/100 m²", 15_000_000),
        ("150 kg/ha", 15_000_000),
        ("120 lb/acre", 13_450_214),
        ("1 lb 8 oz per 100 sq ft", 73_236_415),
    ],
)
def test_a_rate_is_read(text: str, ug_per_m2: int) -> None:
    assert parse_rate(text) == Rate(ug_per_m2)


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [("4 ft 6 in", 1372), ("5' 10\"", 1778), ("1,2 m", 1200), ("45 cm", 450), ("1 yd 1 ft", 1219)],
)
def test_a_length_is_read(text: str, millimetres: int) -> None:
    assert parse_length(text) == Length(millimetres)


@pytest.mark.parametrize(
    ("text", "with_point", "with_comma"),
    [
        ("1.500 kg", "1.5 kg", "1500 kg"),
        ("1,250 g", "1250 g", "1.25 g"),
        ("12.345 g", "12.3450 g", "12345 g"),
        ("2 lb 1,500 oz", "2 lb 1500 oz", "2 lb 1.5 oz"),
    ],
)
def test_one_mark_before_three_digits_shows_both_readings(
    text: str, with_point: str, with_comma: str
) -> None:
    with pytest.raises(AmbiguousQuantity) as refused:
        parse_mass(text)
    assert refused.value.readings == (with_point, with_comma)
    assert refused.value.code == "ambiguous"
    assert parse_mass(with_point) != parse_mass(with_comma)


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("1.500 x 2.500 m", ("1.5 x 2.5 m", "1500 x 2500 m")),
        ("1.500 x 2,500 m", ("1.5 x 2500 m", "1500 x 2.5 m")),
        ("1,200 x 3.5 m", ("1200 x 3.5 m", "1.2 x 3.5 m")),
        ("30 ft row 1.500 ft wide", ("30 ft row 1.5 ft wide", "30 ft row 1500 ft wide")),
        ("1,250 sq ft", ("1250 sq ft", "1.25 sq ft")),
        ("1.000 × 4 x 8 ft", ("1 × 4 x 8 ft", "1000 × 4 x 8 ft")),
    ],
)
def test_readings_inside_dimensions_keep_the_rest_of_the_text(text: str, readings: tuple[str, str]) -> None:
    with pytest.raises(AmbiguousQuantity) as refused:
        parse_measure(text)
    assert refused.value.readings == readings
    assert all(isinstance(parse_measure(reading), Measure) for reading in readings)


def test_a_reading_that_is_out_of_bounds_does_not_make_the_other_one_right() -> None:
    with pytest.raises(QuantityError) as refused:
        parse_measure("500.000 x 900.000 m")
    assert not isinstance(refused.value, AmbiguousQuantity)
    assert refused.value.code == "separator"


Parse = Callable[[str], Any]


@pytest.mark.parametrize(
    ("parse", "text", "code", "rest"),
    [
        (parse_measure, "", "empty", ""),
        (parse_mass, " \u00a0 ", "empty", " \u00a0 "),
        (parse_measure, "4 by", "incomplete", ""),
        (parse_measure, "4 x 8 ft and", "incomplete", "and"),
        (parse_measure, "8 ft", "incomplete", ""),
        (parse_measure, "5 pots", "incomplete", ""),
        (parse_measure, "30 ft row", "incomplete", ""),
        (parse_measure, "30 ft row 18 in", "incomplete", ""),
        (parse_mass, "2 lbs of", "incomplete", "of"),
        (parse_rate, "15 g/", "incomplete", ""),
        (parse_rate, "15 g", "incomplete", ""),
        (parse_measure, "-3 x 6 m", "negative", "-3 x 6 m"),
        (parse_measure, "3 x −6 m", "negative", "−6 m"),
        (parse_mass, "-1 g", "negative", "-1 g"),
        (parse_rate, "15 g/-1 m2", "negative", "-1 m2"),
        (parse_measure, "0 x 3 m", "zero", "0 x 3 m"),
        (parse_measure, "0 m2", "zero", "0 m2"),
        (parse_measure, "0.1 mm circle", "zero", "0.1 mm circle"),
        (parse_rate, "15 g/0 m2", "zero", "0 m2"),
        (parse_mass, "NaN", "number", "NaN"),
        (parse_mass, "nan kg", "number", "nan kg"),
        (parse_mass, "inf", "number", "inf"),
        (parse_measure, "4 x Infinity m", "number", "Infinity m"),
        (parse_mass, "1e400 g", "unit_unknown", "e400 g"),
        (parse_mass, "1e3 g", "unit_unknown", "e3 g"),
        (parse_mass, "1/0 kg", "number", "1/0 kg"),
        (parse_mass, "3 5/2 kg", "number", "3 5/2 kg"),
        (parse_mass, "1.2.3 kg", "number", "1.2.3 kg"),
        (parse_mass, "12,34.5 kg", "number", "12,34.5 kg"),
        (parse_mass, "٣ kg", "number", "٣ kg"),
        (parse_mass, ",5 kg", "number", ",5 kg"),
        (parse_mass, "250", "unit_missing", ""),
        (parse_mass, "2 lb 4", "unit_missing", "4"),
        (parse_measure, "4 x 8", "unit_missing", ""),
        (parse_measure, "4 ft x 8", "unit_missing", ""),
        (parse_measure, "30", "unit_missing", ""),
        (parse_mass, "3 bags", "unit_unknown", "bags"),
        (parse_mass, "12 ft", "unit_kind", "12 ft"),
        (parse_mass, "8 fl oz", "unit_kind", "8 fl oz"),
        (parse_volume, "8 oz", "unit_kind", "8 oz"),
        (parse_measure, "3 kg", "unit_kind", "3 kg"),
        (parse_measure, "4 x 8 kg", "unit_kind", "8 kg"),
        (parse_measure, "3 m2 circle", "unit_kind", "3 m2 circle"),
        (parse_rate, "5 g per m of row", "unit_kind", "m of row"),
        (parse_mass, "4 oz 2 lb", "junk", "2 lb"),
        (parse_mass, "2 kg 3 lb", "junk", "3 lb"),
        (parse_mass, "2 lb.5 oz", "junk", ".5 oz"),
        (parse_mass, "2 kg; drop table", "junk", "; drop table"),
        (parse_measure, "4 x 8 ft deep", "junk", "deep"),
        (parse_measure, "4 6 x 8 ft", "junk", "6 x 8 ft"),
        (parse_measure, "4 ft x 8 ft x 1 ft", "junk", "1 ft"),
        (parse_measure, "2 pots of 4 x 8 in", "junk", "8 in"),
        (parse_measure, "2.5 × 4 x 8 ft", "count", "2.5 × 4 x 8 ft"),
        (parse_measure, "0 × 4 x 8 ft", "count", "0 × 4 x 8 ft"),
        (parse_measure, "99999 pots of 12 in", "count", "99999 pots of 12 in"),
        (parse_area, "2 × 4 x 8 ft", "count", "2 × 4 x 8 ft"),
        (parse_mass, "9999999 kg", "too_much", "9999999 kg"),
        (parse_length, "20000 m", "too_much", "20000 m"),
        (parse_measure, "99999999 x 3 m", "too_much", "99999999 x 3 m"),
        (parse_measure, "5000 ha", "too_much", "5000 ha"),
        (parse_rate, "200 kg/m2", "too_much", "200 kg/m2"),
        (parse_volume, "9999999999 L", "too_much", "9999999999 L"),
        (parse_mass, "9" * 190 + " g", "too_much", "9" * 190 + " g"),
        (parse_mass, "1" + " " * 300 + "g", "too_long", " " * 101 + "g"),
    ],
)
def test_a_refusal_says_what_is_wrong_and_where(parse: Parse, text: str, code: str, rest: str) -> None:
    with pytest.raises(QuantityError) as refused:
        parse(text)
    error = refused.value
    assert (error.code, error.rest) == (code, rest)
    assert text[error.position :] == rest
    assert str(error).startswith(error.message)
    assert all(f"“{example}”" in str(error) and parse(example) for example in error.examples)


def test_the_sentence_shows_what_was_typed_and_what_would_do() -> None:
    with pytest.raises(QuantityError) as refused:
        parse_mass("2 lbs of")
    assert str(refused.value) == "“2 lbs of” is cut short. As in “2 lb 4 oz” or “1.5 kg”."


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("4 x 8", "ft", BED),
        ("2 × 4 x 8", "ft", twice(BED)),
        ("1.2 x 3", "m", METRIC_BED),
        ("30 row 1.5 wide", "ft", ROW),
        ("30", "m2", area(30_000_000)),
        ("4 x 8 ft", "m", BED),
        ("120 cm x 3 m", "ft", METRIC_BED),
    ],
)
def test_a_default_unit_counts_only_where_no_unit_is_written(text: str, unit: str, expected: Measure) -> None:
    assert parse_measure(text, default_unit=unit) == expected


def test_a_default_unit_does_not_complete_a_measure_that_has_a_unit() -> None:
    with pytest.raises(QuantityError, match="Say the unit of “8”"):
        parse_measure("4 ft x 8", default_unit="ft")
    with pytest.raises(QuantityError, match="Say the unit of “2”"):
        parse_measure("30 ft row 2 wide", default_unit="ft")


def test_a_bare_reading_takes_the_unit_of_its_scale() -> None:
    assert parse_mass("250", default_unit="g") == Mass(250_000)
    assert parse_mass("1.5 kg", default_unit="g") == Mass(1_500_000)
    assert parse_length("30", default_unit="cm") == Length(300)
    assert Mass(250_001).grams == Decimal("250.001")


@pytest.mark.parametrize(
    ("print_", "value", "metric", "us"),
    [
        (print_measure, BED, "121.92 × 243.84 cm", "4 × 8 ft"),
        (print_measure, SHORT_BED, "137.16 × 243.84 cm", "4 ft 6 in × 8 ft"),
        (print_measure, METRIC_BED, "1.2 × 3 m", "1.2 × 3 m"),
        (print_measure, twice(BED), "2 beds of 121.92 × 243.84 cm", "2 beds of 4 × 8 ft"),
        (print_measure, CIRCLE, "182.88 cm circle", "6 ft circle"),
        (print_measure, ROW, "914.4 cm row 45.72 cm wide", "30 ft row 18 in wide"),
        (print_measure, POT, "5 pots of 30.48 cm", "5 pots of 12 in"),
        (print_measure, area(30_000_000), "30 m²", "30 m²"),
        (print_measure, area(18_580_608), "18.580608 m²", "200 ft²"),
        (print_mass, Mass(1_500_000), "1.5 kg", "1.5 kg"),
        (print_mass, Mass(1_020_583), "1020.583 g", "2 lb 4 oz"),
        (print_mass, Mass(453_592), "453.5920 g", "1 lb"),  # no "453.592 g", no "16 oz"
        (print_mass, Mass(155_000), "155 g", "155 g"),
        (print_mass, Mass(0), "0 g", "0 oz"),
        (print_length, Length(1372), "137.2 cm", "4 ft 6 in"),
        (print_length, Length(1200), "1.2 m", "3 ft 11.24 in"),
        (print_volume, Volume(354_882), "354.8820 mL", "1.5 cups"),
        (print_volume, Volume(20_000_000), "20 L", "20 L"),
        (print_rate, Rate(14_647_283), "14.647283 g/m²", "3 lb/1000 ft²"),
        (print_rate, Rate(15_000_000), "15 g/m²", "15 g/m²"),
    ],
)
def test_a_value_is_printed_as_people_write_it(
    print_: Callable[..., str], value: Any, metric: str, us: str
) -> None:
    assert (print_(value), print_(value, "us")) == (metric, us)


def test_a_measure_with_sides_that_cannot_have_its_area_is_not_printed() -> None:
    with pytest.raises(ValueError, match="no sides have this area"):
        print_measure(Measure("rectangle", 1, 5, 1200, 3000))


@pytest.mark.parametrize(
    ("echo", "value", "expected"),
    [
        (echo_measure, BED, "2.97 m², 32 ft²"),
        (echo_measure, twice(BED), "two beds of 2.97 m², 32 ft² each"),
        (echo_measure, POT, "five pots of 0.073 m², 0.79 ft² each"),
        (echo_measure, area(30_000_000, count=13), "13 beds of 30 m², 323 ft² each"),
        (echo_measure, area(10_000_000_000), "10\u202f000 m², 107\u202f639 ft²"),
        (echo_mass, Mass(155_000), "155 g, 5.5 oz"),
        (echo_mass, Mass(258_000), "258 g, 9.1 oz"),
        (echo_mass, Mass(1_500_000), "1.5 kg, 3 lb 4.9 oz"),
        (echo_mass, Mass(453_000), "453 g, 1 lb"),  # 15.98 oz is no "16 oz"
        (echo_mass, Mass(66_000), "66 g, 2.3 oz"),
        (echo_mass, Mass(18_100), "18.1 g, 0.64 oz"),
        (echo_mass, Mass(1_234_000), "1234 g, 2 lb 11.5 oz"),
        (echo_mass, Mass(200_000_000), "200 kg, 440.9 lb"),
        (echo_mass, Mass(-15_000), "−15 g, 0.53 oz"),
        (echo_length, Length(1219), "1.22 m, 4 ft"),
        (echo_length, Length(457), "45.7 cm, 18 in"),
        (echo_volume, Volume(354_882), "355 mL, 1.5 cups"),
        (echo_volume, Volume(20_000_000), "20 L, 5.28 gal"),
        (echo_rate, Rate(14_647_283), "14.6 g/m², 3 lb/1000 ft²"),
        (echo_rate, Rate(15_000_000), "15 g/m², 3.07 lb/1000 ft²"),
    ],
)
def test_what_was_understood_is_echoed_in_both_families(
    echo: Callable[[Any], str], value: Any, expected: str
) -> None:
    echoed = echo(value)
    assert echoed.replace("\u00a0", " ") == expected
    assert "\u00a0" in echoed


@pytest.mark.parametrize("text", ["4 x 8 x 1 ft", "2x4x8ft", "2 × 4 × 8 ft", "4 x 8 ft x 1 ft"])
def test_three_figures_with_one_sign_are_several_beds_or_a_depth_and_that_is_asked(text: str) -> None:
    with pytest.raises(AmbiguousQuantity) as asked:
        parse_measure(text)
    several, deep = (parse_measure(reading) for reading in asked.value.readings)
    assert several.count > 1 and deep.count == 1
