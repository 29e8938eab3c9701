"""The catalogue of materials as a whole."""

from __future__ import annotations

import pytest

from blends import catalogue
from blends.catalogue import CONFIDENCE, Basis, CatalogueMaterial, Figure, Kind, material, materials
from blends.chemistry import Slow
from gardens.nutrients import ESSENTIAL, Nutrient

EVERY = pytest.mark.parametrize("entry", materials(), ids=lambda entry: entry.code)


def _figures(entry: CatalogueMaterial) -> list[Figure]:
    purity = [entry.purity] if entry.purity else []
    return [*entry.values.values(), *purity, entry.bulk_density_g_ml]


def test_it_holds_every_kind_and_more_than_forty() -> None:
    assert len(materials()) >= 40
    assert {entry.kind for entry in materials()} == set(Kind)


def test_every_nutrient_of_the_fourteen_can_be_bought() -> None:
    bought = {n for entry in materials() for n, share in entry.analysis().percent.items() if share}
    assert set(ESSENTIAL) <= bought


@EVERY
def test_each_figure_names_its_source_and_how_sure_it_is(entry: CatalogueMaterial) -> None:
    assert len(_figures(entry)) >= 2
    for figure in (*_figures(entry), *entry.cautions):
        assert figure.source.strip()
        assert figure.confidence in CONFIDENCE


@EVERY
def test_each_has_an_analysis_a_density_and_a_caution(entry: CatalogueMaterial) -> None:
    assert entry.analysis().percent
    assert 0 < entry.bulk_density_g_ml.value < 2
    assert entry.cautions
    assert (entry.basis is Basis.FORMULA) == (entry.formula is not None) == (entry.purity is not None)


@EVERY
def test_a_label_gives_all_three_figures_of_its_grade(entry: CatalogueMaterial) -> None:
    """A grade's 0 is said, not left out: else every blend would be "at least" in its nitrogen."""
    assert entry.basis is Basis.FORMULA or {"N", "P2O5", "K2O"} <= set(entry.values)


def test_trace_concentrates_and_salts_need_a_witness_and_nothing_else_does() -> None:
    assert material("trace-concentrate").is_trace
    assert material("zinc-sulfate-monohydrate").is_trace
    assert not material("compound-16-16-16").is_trace
    assert not material("magnesium-sulfate-heptahydrate").is_trace


@EVERY
def test_what_bears_boron_is_a_trace_material_with_the_borate_caution(entry: CatalogueMaterial) -> None:
    has_caution = "borate" in {caution.code for caution in entry.cautions}
    assert entry.bears_boron == has_caution
    assert not entry.bears_boron or entry.is_trace


def test_inert_agents_say_nothing_beyond_their_grade() -> None:
    for entry in materials():
        if entry.is_inert:
            assert set(entry.analysis().percent) == {Nutrient.N, Nutrient.P, Nutrient.K}


def test_a_grade_that_may_be_coated_is_not_for_weekly_feeding() -> None:
    doubtful = material("compound-18-6-12")
    assert doubtful.slow is Slow.UNKNOWN
    assert doubtful.analysis().soluble_n == 0


def test_an_unknown_code_is_a_key_error() -> None:
    with pytest.raises(KeyError):
        material("no-such-thing")


BROKEN: list[tuple[str, str]] = [
    ('version = "2026-11-25"', 'version = "1999"'),
    ('confidence = "MEMORY"', 'confidence = "sure"'),
    ('code = "urea"', 'code = "perlite"'),
    ('formula = "KNO3"', 'formulo = "KNO3"'),
    ("purity = [99, ", "purify = [99, "),
]


@pytest.mark.parametrize(("was", "now"), BROKEN)
def test_a_file_that_contradicts_itself_is_not_read(
    was: str, now: str, tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken = tmp_path_factory.mktemp("catalogue") / "materials.toml"
    text = catalogue.PATH.read_text(encoding="utf-8")
    assert was in text
    broken.write_text(text.replace(was, now, 1), encoding="utf-8")
    monkeypatch.setattr(catalogue, "PATH", broken)
    with pytest.raises(catalogue.CatalogueError):
        catalogue._read.__wrapped__()
