"""The programme's wall and the append-only tables, held by the database itself."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from django.apps import apps
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.db.models import F, ForeignKey, ManyToManyField

from gardens.constraints import AppendOnly, SameProgramme, is_walled
from gardens.models import Bed, Plot, Tenancy
from tests.cast import make_cast
from tests.house.everything import everything

OUTSIDE_THE_WALL = {"gardens.User", "gardens.Programme"}
OURS = ("gardens", "blends", "schedules")
MODELS = [m for m in apps.get_models() if m._meta.app_label in OURS]


@pytest.mark.parametrize("model", MODELS, ids=lambda m: m._meta.label)
def test_every_model_is_behind_the_wall_or_on_the_short_list(model: Any) -> None:
    if model._meta.label in OUTSIDE_THE_WALL:
        return
    assert is_walled(model) and not model._meta.get_field("programme").null
    wall = {c.field for c in model._meta.constraints if isinstance(c, SameProgramme)}
    keys = {
        f.name
        for f in model._meta.get_fields()
        if isinstance(f, ForeignKey) and f.name != "programme" and is_walled(f.related_model)
    }
    assert wall == keys
    assert not [f for f in model._meta.get_fields() if isinstance(f, ManyToManyField)]


def test_no_foreign_key_points_up_a_floor() -> None:
    floor = {app: n for n, app in enumerate(OURS)}
    for model in MODELS:
        for f in model._meta.get_fields():
            if isinstance(f, ForeignKey) and f.related_model._meta.app_label in floor:
                low, high = floor[f.related_model._meta.app_label], floor[model._meta.app_label]
                assert low <= high, f"{model._meta.label}.{f.name}"


@pytest.mark.parametrize("how", ["create", "bulk", "update", "sql", "parent"])
def test_a_row_cannot_point_through_the_wall(cast: Any, how: str) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        if how == "create":
            Bed.objects.create(
                programme=cast.programme,
                plot=cast.other_plot,
                name="x",
                size_text="1",
                shape="area",
                area_mm2=1,
            )
        elif how == "bulk":
            Tenancy.objects.bulk_create(
                [
                    Tenancy(
                        programme=cast.programme,
                        plot=cast.other_plot,
                        household=cast.household,
                        start=dt.date(2026, 1, 1),
                    )
                ]
            )
        elif how == "update":
            Bed.objects.filter(pk=cast.bed.pk).update(plot=cast.other_plot)
        elif how == "sql":
            with connection.cursor() as cursor:
                cursor.execute(
                    "UPDATE gardens_bed SET plot_id = %s WHERE id = %s", [cast.other_plot.pk, cast.bed.pk]
                )
        else:
            Plot.objects.filter(pk=cast.plot.pk).update(programme=cast.other, garden=cast.other_garden)


def test_a_form_hears_it_kindly(cast: Any) -> None:
    bed = Bed(
        programme=cast.programme, plot=cast.other_plot, name="x", size_text="1", shape="area", area_mm2=1
    )
    with pytest.raises(ValidationError, match="another programme"):
        bed.full_clean()


APPEND_ONLY = [m for m in MODELS if any(isinstance(c, AppendOnly) for c in m._meta.constraints)]


def test_the_append_only_tables_are_those_agreed() -> None:
    assert {m._meta.object_name for m in APPEND_ONLY} == {
        "Ticket",
        "Movement",
        "Revision",
        "Component",
        "Declaration",
        "WeighOut",
        "Look",
        "PailDecision",
        "Count",
        "Snapshot",
        "FrozenLine",
        "Collection",
    }


@pytest.mark.parametrize("model", APPEND_ONLY, ids=lambda m: m._meta.label)
def test_triggers_stand_on_every_append_only_table(db: None, model: Any) -> None:
    table = model._meta.db_table
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = %s", [table])
            found = " ".join(row[0] for row in cursor.fetchall())
            assert f'BEFORE UPDATE ON "{table}"' in found and f'BEFORE DELETE ON "{table}"' in found
        else:
            cursor.execute(
                "SELECT count(*) FROM pg_trigger WHERE tgrelid = %s::regclass AND NOT tgisinternal", [table]
            )
            assert cursor.fetchone()[0] == 2


def test_every_pointer_of_every_table_stops_at_the_wall(db: None) -> None:
    """Raw SQL points one row after the other at its like in another programme; the wall itself says no."""
    ours, theirs = make_cast(), make_cast()
    everything(ours)
    everything(theirs)
    with connection.cursor() as cursor:
        _let_what_is_written_be_changed(cursor)
        ends = {
            f"{model._meta.label}.{rule.field}": _point_through(
                cursor, model, rule, ours.programme, theirs.programme
            )
            for model in MODELS
            for rule in model._meta.constraints
            if isinstance(rule, SameProgramme)
        }
    assert [f"{where}: {end}" for where, end in ends.items() if end != "the wall"] == []
    assert len(ends) > 90


def _let_what_is_written_be_changed(cursor: Any) -> None:
    """Lift the append-only triggers inside this test's transaction, or nothing but they would be tried."""
    if connection.vendor == "sqlite":
        cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        for (name,) in cursor.fetchall():
            cursor.execute(f'DROP TRIGGER "{name}"')
        return
    cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
    for model in APPEND_ONLY:
        cursor.execute(f'ALTER TABLE "{model._meta.db_table}" DISABLE TRIGGER USER')


def _point_through(cursor: Any, model: Any, rule: SameProgramme, ours: Any, theirs: Any) -> str:
    """Point a row of ours at one of theirs; what stopped it."""
    field = model._meta.get_field(rule.field)
    rows = model.objects.filter(programme=ours).order_by(F(field.attname).asc(nulls_last=True))
    taken = model.objects.filter(**{f"{field.name}__isnull": False}).values(field.attname)
    others = field.related_model.objects.filter(programme=theirs)
    if field.unique:
        others = others.exclude(pk__in=taken)
    row, other = rows.first(), others.order_by("-pk").first()
    if row is None or other is None:
        return "no row to try it with"
    table, column = model._meta.db_table, field.column
    try:
        with transaction.atomic():
            cursor.execute(f'UPDATE "{table}" SET "{column}" = %s WHERE id = %s', [other.pk, row.pk])
    except IntegrityError as problem:
        is_wall = rule.name in str(problem) or str(problem) == "FOREIGN KEY constraint failed"
        return "the wall" if is_wall else str(problem)
    return "nothing"
