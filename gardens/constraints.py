"""Two rules that the database itself keeps: nothing crosses the programme's wall; what is written stays written.

Both are ordinary entries of ``Meta.constraints``, so migrations carry them and SQLite's table rebuilds keep them.
"""

from __future__ import annotations

from typing import Any

from django.core.exceptions import FieldDoesNotExist, ValidationError
from django.db import models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.models.constraints import BaseConstraint
from django.utils.translation import gettext_lazy as _


def _table(model: type[models.Model]) -> str:
    """The table's lasting name (SQLite rebuilds a table under the name ``new__x`` first)."""
    return model._meta.db_table.removeprefix("new__")


class SameProgramme(BaseConstraint):
    """The row that ``field`` points to lies behind the same programme's wall.

    A composite foreign key (programme, field) -> (programme, id), checked at each statement.
    """

    default_violation_error_message = _("That belongs to another programme.")
    violation_error_code = "other_programme"

    def __init__(self, *, field: str, name: str, **kwargs: Any) -> None:
        self.field = field
        super().__init__(name=name, **kwargs)

    def _reference(self, model: Any, editor: BaseDatabaseSchemaEditor) -> str:
        opts = model._meta
        fk = opts.get_field(self.field)
        target: Any = fk.related_model
        quote = editor.quote_name
        return (
            f"CONSTRAINT {quote(self.name)} FOREIGN KEY "
            f"({quote(opts.get_field('programme').column)}, {quote(fk.column)}) "
            f"REFERENCES {quote(_table(target))} "
            f"({quote(target._meta.get_field('programme').column)}, {quote(target._meta.pk.column)}) "
            "DEFERRABLE INITIALLY IMMEDIATE"
        )

    def constraint_sql(self, model: Any, schema_editor: Any) -> Any:
        if schema_editor.connection.vendor == "sqlite":
            return self._reference(model, schema_editor)
        self.create_sql(model, schema_editor)
        return None

    def create_sql(self, model: Any, schema_editor: Any) -> Any:
        """Left to the end of the migration: the other table's UNIQUE (programme, id) must stand first."""
        table = schema_editor.quote_name(_table(model))
        schema_editor.deferred_sql.append(f"ALTER TABLE {table} ADD {self._reference(model, schema_editor)}")

    def remove_sql(self, model: Any, schema_editor: Any) -> str:
        quote = schema_editor.quote_name
        return f"ALTER TABLE {quote(_table(model))} DROP CONSTRAINT {quote(self.name)}"

    def validate(self, model: Any, instance: Any, exclude: Any = None, using: str = "default") -> None:
        if exclude and (self.field in exclude or "programme" in exclude):
            return
        target = getattr(instance, self.field)
        if target is not None and target.programme_id != instance.programme_id:
            raise ValidationError(
                {self.field: self.get_violation_error_message()}, code=self.violation_error_code
            )

    def deconstruct(self) -> Any:
        path, args, kwargs = super().deconstruct()
        kwargs["field"] = self.field
        return path, args, kwargs

    def __eq__(self, other: object) -> bool:
        if isinstance(other, SameProgramme):
            return self.name == other.name and self.field == other.field
        return NotImplemented

    def __hash__(self) -> int:
        return hash((self.name, self.field))


class AppendOnly(BaseConstraint):
    """Rows of this table may be added and read, never changed or deleted: triggers in the database say so."""

    default_violation_error_message = _("What is written here stays as it is; a correction is a new entry.")
    violation_error_code = "append_only"

    def _statements(self, model: type[models.Model], editor: BaseDatabaseSchemaEditor) -> list[str]:
        quote, table = editor.quote_name, _table(model)
        if editor.connection.vendor == "sqlite":
            return [
                f"CREATE TRIGGER {quote(f'{self.name}_{act.lower()}')} BEFORE {act} ON {quote(table)} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
                for act in ("UPDATE", "DELETE")
            ]
        return [
            "CREATE OR REPLACE FUNCTION refuse_append_only() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION '%% is append-only', TG_TABLE_NAME USING ERRCODE = '23514'; END $$".replace(
                "%%", "%"
            ),
            f"CREATE TRIGGER {quote(self.name)} BEFORE UPDATE OR DELETE ON {quote(table)} "
            "FOR EACH ROW EXECUTE FUNCTION refuse_append_only()",
            f"CREATE TRIGGER {quote(f'{self.name}_truncate')} BEFORE TRUNCATE ON {quote(table)} "
            "FOR EACH STATEMENT EXECUTE FUNCTION refuse_append_only()",
        ]

    def constraint_sql(self, model: Any, schema_editor: Any) -> Any:
        schema_editor.deferred_sql.extend(self._statements(model, schema_editor))

    def create_sql(self, model: Any, schema_editor: Any) -> str:
        return "; ".join(self._statements(model, schema_editor))

    def remove_sql(self, model: Any, schema_editor: Any) -> str:
        quote, table = schema_editor.quote_name, _table(model)
        return (
            f"DROP TRIGGER {quote(self.name)} ON {quote(table)}; "
            f"DROP TRIGGER {quote(f'{self.name}_truncate')} ON {quote(table)}"
        )

    def validate(self, model: Any, instance: Any, exclude: Any = None, using: str = "default") -> None:
        if not instance._state.adding:
            raise ValidationError(self.get_violation_error_message(), code=self.violation_error_code)

    def __eq__(self, other: object) -> bool:
        if isinstance(other, AppendOnly):
            return self.name == other.name
        return NotImplemented

    def __hash__(self) -> int:
        return hash(self.name)


def wall(*fields: str) -> list[BaseConstraint]:
    """The constraints of a row behind the wall: UNIQUE (programme, id), and each of ``fields`` on the same side.

    Names are filled in per model by Django ("%(app_label)s_%(class)s_…").
    """
    rules: list[BaseConstraint] = [
        models.UniqueConstraint(fields=["programme", "id"], name="%(app_label)s_%(class)s_wall")
    ]
    rules += [SameProgramme(field=f, name=f"%(app_label)s_%(class)s_{f}_wall") for f in fields]
    return rules


def append_only() -> AppendOnly:
    return AppendOnly(name="%(app_label)s_%(class)s_append_only")


def is_walled(model: type[models.Model]) -> bool:
    """Whether rows of this model carry their programme."""
    try:
        model._meta.get_field("programme")
    except FieldDoesNotExist:
        return False
    return True
