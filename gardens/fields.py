"""Columns that refuse what is not a whole number of their unit."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, TypeVar

from django.core.exceptions import ValidationError
from django.db import models
from django.utils.translation import gettext_lazy as _

_Set = TypeVar("_Set", contravariant=True)
_Get = TypeVar("_Get", covariant=True)

if TYPE_CHECKING:

    class _BigInteger(models.BigIntegerField[_Set, _Get]):
        pass
else:

    class _BigInteger(models.BigIntegerField):
        """At run time Django's fields take no type arguments."""

        def __class_getitem__(cls, item: Any) -> type[_BigInteger]:
            return cls


class WholeField(_BigInteger[_Set, _Get]):
    """An integer count of a small unit; a float or a fraction is refused, never rounded."""

    unit_name = ""

    def get_prep_value(self, value: Any) -> Any:
        whole = isinstance(value, int) and not isinstance(value, bool)
        if not (whole or value is None or hasattr(value, "resolve_expression")):
            raise TypeError(f"{self.name}: {value!r} is not a whole number of {self.unit_name}")
        return super().get_prep_value(value)

    def to_python(self, value: Any) -> Any:
        if value is None or (isinstance(value, int) and not isinstance(value, bool)):
            return value
        if isinstance(value, str) and value.strip().lstrip("-").isdigit():
            return int(value)
        raise ValidationError(_("A whole number is needed here."), code="whole")


class MassField(WholeField[_Set, _Get]):
    """Mass in milligrams."""

    unit_name = "milligrams"


class LengthField(WholeField[_Set, _Get]):
    """Length in millimetres."""

    unit_name = "millimetres"


class AreaField(WholeField[_Set, _Get]):
    """Area in square millimetres."""

    unit_name = "square millimetres"


class MoneyField(WholeField[_Set, _Get]):
    """Money in the minor unit of the programme's currency."""

    unit_name = "minor units"
