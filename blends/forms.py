"""Forms of the shed and the recipe: text as people write it becomes masses, percents and days."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from blends import catalogue
from blends.chemistry import HUNDRED
from blends.models import Kind, Material, Slow
from gardens import quantities as q
from gardens.figures import decimals_of
from gardens.forms import ActForm, DayField, KeyField, MassField, MoneyField, QuantityField
from gardens.models import Garden, Programme, Units
from gardens.numerals import half_up
from gardens.nutrients import Nutrient

MAIN = ("N", "P2O5", "K2O", "Ca", "Mg", "S")
OXIDES = ("CaO", "MgO", "SO3")
TRACES = ("B", "Cl", "Cu", "Fe", "Mn", "Mo", "Ni", "Zn", "Na")
FORMS_OF_N = ("N nitrate", "N ammoniacal", "N urea", "N slow")
_PRINTED = {
    "P2O5": "Phosphate P₂O₅",
    "K2O": "Potash K₂O",
    "CaO": "Calcium as CaO",
    "MgO": "Magnesium as MgO",
} | {
    "SO3": "Sulfur as SO₃",
    "N nitrate": "of it nitrate",
    "N ammoniacal": "of it ammoniacal",
    "N urea": "of it urea",
    "N slow": "of it slow or insoluble in water",
}


def reading_unit(programme: Programme) -> str:
    """The unit of a number that is typed without one, where small masses are read."""
    return "oz" if programme.units == Units.US else "g"


class RowField(forms.TypedChoiceField):
    """A choice among rows that are in hand already; gives the row, or None."""

    def __init__(
        self,
        rows: Iterable[Any],
        *,
        words: Callable[[Any], str] = str,
        empty: str | None = None,
        **kwargs: Any,
    ) -> None:
        by_pk = {str(row.pk): row for row in rows}
        choices = [(pk, words(row)) for pk, row in by_pk.items()]
        if empty is not None:
            choices.insert(0, ("", empty))
        super().__init__(choices=choices, coerce=lambda pk: by_pk[pk], empty_value=None, **kwargs)


class PercentField(forms.CharField):
    """Percent by mass, "16" or "0,05"; empty is None: not declared."""

    def __init__(self, **kwargs: Any) -> None:
        kwargs.setdefault("required", False)
        super().__init__(max_length=20, **kwargs)
        self.widget.attrs = {
            "unit": "%",
            "short": True,
            "inputmode": "decimal",
            "autocomplete": "off",
            "plain": True,
        }

    def clean(self, value: Any) -> Decimal | None:
        text = str(super().clean(value)).replace("%", "").replace(" ", "").replace(",", ".")
        if not text:
            return None
        try:
            share = Decimal(text)
        except InvalidOperation:
            share = Decimal("NaN")
        if not share.is_finite() or not 0 <= share <= HUNDRED or not text.replace(".", "", 1).isdigit():
            raise ValidationError(f"“{value}” is no percentage. Write 16, or 0.05.", code="percent")
        return share


class DensityField(forms.CharField):
    """Bulk density in g/mL; empty is None."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(required=False, max_length=20, **kwargs)
        self.widget.attrs = {"unit": "g/mL", "short": True, "inputmode": "decimal", "autocomplete": "off"}

    def clean(self, value: Any) -> Decimal | None:
        text = str(super().clean(value)).strip().replace(",", ".")
        if not text:
            return None
        if not text.replace(".", "", 1).isdigit():
            raise ValidationError(f"“{value}” is no density. Write 0.95.", code="density")
        return Decimal(text)


def catalogue_choices(have: set[str]) -> list[tuple[str, Any]]:
    """The catalogue by kind, less what the programme has adopted already."""
    by_kind: dict[str, list[tuple[str, str]]] = {}
    for entry in catalogue.materials():
        if entry.code not in have:
            kind = str(Kind(entry.kind).label).capitalize()
            by_kind.setdefault(kind, []).append((entry.code, entry.name))
    return [("", "Choose one"), *by_kind.items()]


class AdoptForm(ActForm):
    code = forms.ChoiceField(
        label="A material from the catalogue",
        help_text="Its figures are copied; your bag's label replaces them.",
    )

    def __init__(self, *args: Any, have: set[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["code"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = catalogue_choices(have)


class DeclarationForm(ActForm):
    """What a bag says, as a bag says it; or a formula. What stays empty is not declared."""

    slow = forms.ChoiceField(
        label="Slow-release or coated?",
        help_text="With yes or not known it is not for weekly feeding.",
        choices=[(Slow.NO, "No, it dissolves"), (Slow.YES, "Yes"), (Slow.UNKNOWN, "The bag does not say")],
        widget=forms.RadioSelect,
        required=False,
    )
    formula = forms.CharField(
        label="Formula", max_length=80, required=False, help_text="Instead of the label: MgSO4·7H2O"
    )
    purity = PercentField(label="Purity", help_text="100 where the bag says nothing.")
    source = forms.CharField(
        label="Where the figures are from", max_length=300, required=False, help_text="The bag, a data sheet"
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for key in (*MAIN, *OXIDES, *TRACES, *FORMS_OF_N):
            self.fields[key] = PercentField(label=_label(key))

    def rows(self, keys: Sequence[str]) -> list[forms.BoundField]:
        return [self[key] for key in keys]

    @property
    def main(self) -> list[forms.BoundField]:
        return self.rows(MAIN)

    @property
    def rest(self) -> list[forms.BoundField]:
        return self.rows((*OXIDES, *FORMS_OF_N))

    @property
    def traces(self) -> list[forms.BoundField]:
        return self.rows(TRACES)

    def rest_used(self) -> bool:
        return any(field.value() or field.errors for field in self.rest)

    def traces_used(self) -> bool:
        return any(field.value() or field.errors for field in self.traces)

    def declaration(self) -> dict[str, Any]:
        """The keywords of ``declare_material`` and ``declare_again``."""
        data = self.cleaned_data
        keys = (*MAIN, *OXIDES, *TRACES, *FORMS_OF_N)
        return {
            "values": {key: data[key] for key in keys if data.get(key) is not None},
            "slow": data["slow"] or Slow.UNKNOWN,
            "formula": data["formula"].strip(),
            "purity": data["purity"] if data.get("purity") is not None else HUNDRED,
            "source": data["source"].strip() or "the bag",
        }

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        keys = (*MAIN, *OXIDES, *TRACES, *FORMS_OF_N)
        if not data.get("formula") and not data.get("slow"):
            self.add_error(
                "slow", "Say whether it is slow-release or coated: yes, no, or the bag does not say."
            )
        if not data.get("formula") and not self.errors and all(data.get(key) is None for key in keys):
            self.add_error("N", "Nothing is declared yet. Write what the bag says; 0 where it says none.")
        return data


class MaterialForm(DeclarationForm):
    name = forms.CharField(
        label="Name", max_length=120, help_text="As the bag has it, such as Compound 12-8-16"
    )
    kind = forms.ChoiceField(label="What it is", choices=[("", "Choose one"), *Kind.choices])
    bulk_density = DensityField(
        label="Bulk density", help_text="So that cups and spoons of it can be written in a recipe."
    )


def _label(key: str) -> str:
    if key in _PRINTED:
        return _PRINTED[key]
    nutrient = Nutrient(key)
    return f"{nutrient.english.capitalize()} {nutrient}"


class LotForm(ActForm):
    key = KeyField()
    material = forms.ModelChoiceField(Material.objects.none(), label="Material", empty_label="Choose one")
    code = forms.CharField(
        label="Mark of the lot", max_length=40, help_text="Write it on its bags, such as C-07."
    )
    bags = forms.IntegerField(label="Bags", min_value=1, max_value=10_000, widget=forms.TextInput())
    bag_mass = MassField(label="In one bag", positive=True, help_text="As in 25 kg, or 50 lb")
    price = MoneyField(label="Paid for all of them together", required=False, help_text="0 if it was given")
    supplier = forms.CharField(label="From whom", max_length=120, required=False)
    day = DayField(label="Delivered on")
    garden = forms.ModelChoiceField(Garden.objects.none(), label="At", empty_label=None)
    spot = forms.CharField(label="Where it stands", max_length=80, help_text="Such as north shed")

    def __init__(self, *args: Any, programme: Programme, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["material"].queryset = Material.objects.filter(programme=programme)  # type: ignore[attr-defined]
        self.fields["garden"].queryset = Garden.objects.filter(programme=programme)  # type: ignore[attr-defined]
        self.fields["bags"].widget.attrs |= {"short": True, "inputmode": "numeric"}
        self.fields["price"] = MoneyField(
            label="Paid for all of them together",
            required=False,
            help_text="0 if it was given",
            currency=programme.currency,
            decimals=decimals_of(programme.currency),
        )


class LotChangeForm(ActForm):
    """What may be mended of a delivery without moving mass."""

    code = forms.CharField(label="Mark of the lot", max_length=40)
    supplier = forms.CharField(label="From whom", max_length=120, required=False)

    def __init__(self, *args: Any, programme: Programme, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["price"] = MoneyField(
            label="Paid for all bags together",
            currency=programme.currency,
            decimals=decimals_of(programme.currency),
        )


class CountForm(ActForm):
    key = KeyField()
    counted = MassField(label="What stands there", help_text="All of it, without its vessel")
    reason = forms.CharField(
        label="What happened",
        max_length=400,
        required=False,
        help_text="Wanted only outside what weighing explains.",
    )


class LossForm(ActForm):
    key = KeyField()
    mass = MassField(label="How much", positive=True, help_text="Weigh it, or say it as well as you can.")
    to = forms.ChoiceField(
        label="What became of it",
        choices=[("lost", "Lost: spilt, blown away, swept up"), ("waste", "Thrown away: wet, dirty, spoilt")],
        widget=forms.RadioSelect,
    )
    reason = forms.CharField(label="How it happened", max_length=400, help_text="Such as spilt at the scale")


class MoveForm(ActForm):
    key = KeyField()
    mass = MassField(label="How much", positive=True)
    garden = forms.ModelChoiceField(Garden.objects.none(), label="To", empty_label=None)
    spot = forms.CharField(label="Where it stands now", max_length=80)

    def __init__(self, *args: Any, programme: Programme, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["garden"].queryset = Garden.objects.filter(programme=programme)  # type: ignore[attr-defined]


class SendBackForm(ActForm):
    key = KeyField()
    mass = MassField(label="How much went back", positive=True)
    reason = forms.CharField(label="Why", max_length=400)


class BlendForm(ActForm):
    name = forms.CharField(label="Name of the blend", max_length=80, help_text="Short, such as All-round")


class BoronForm(ActForm):
    boron_reason = forms.CharField(
        label="Why so much boron", max_length=400, required=False, help_text="Such as: soil test says none"
    )


class MassAsked(ActForm):
    """ "How much of it?", for a recipe scaled to a mass."""

    mass = MassField(label="For how much", positive=True, help_text="As in 5 kg, or 12 lb")


class AmountField(QuantityField):
    """How much of a material, by mass or by volume: gives a ``Mass`` or a ``Volume``."""

    echo = "amount"
    takes_default_unit = False

    @staticmethod
    def parse(text: str) -> q.Mass | q.Volume:
        """As a mass, else as a volume; what is neither is told as no mass."""
        try:
            return q.parse_mass(text)
        except q.AmbiguousQuantity:
            raise
        except q.QuantityError as error:
            try:
                return q.parse_volume(text)
            except q.AmbiguousQuantity:
                raise
            except q.QuantityError:
                raise error from None

    @staticmethod
    def say(value: q.Mass | q.Volume) -> str:
        return q.echo_mass(value) if isinstance(value, q.Mass) else q.echo_volume(value)


class RecipeLineForm(ActForm):
    """One line of a recipe; an empty line is left out. A volume is weighed through the material's density."""

    amount = AmountField(label="How much", max_length=80, required=False)

    def __init__(self, *args: Any, materials: Sequence[Material], **kwargs: Any) -> None:
        super().__init__(*args, use_required_attribute=False, **kwargs)
        self.fields["material"] = RowField(materials, empty="No more", label="Material", required=False)
        for field in self.fields.values():
            field.widget.attrs["plain"] = True
        self.order_fields(["material", "amount"])

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        material, amount = data.get("material"), data.get("amount")
        if material and not amount and "amount" not in self.errors:
            self.add_error("amount", f"How much {material.name}? Write 1.5 kg, 3 lb 4 oz or 2 cups.")
        if amount and not material and "material" not in self.errors:
            self.add_error("material", "Which material is it?")
        if material and isinstance(amount, q.Volume):
            if material.bulk_density is None:
                self.add_error(
                    "amount",
                    f"How much {material.name} weighs in a cup is not known. Write its mass, or weigh a "
                    "litre and give the material its bulk density.",
                )
            else:
                data["amount"] = q.Mass(half_up(amount.microlitres * Fraction(material.bulk_density)))
        return data

    def line(self) -> tuple[Material, int, str] | None:
        """(material, mass in mg, as written), once clean; None for an empty line."""
        if not self.cleaned_data.get("material"):
            return None
        return self.cleaned_data["material"], self.cleaned_data["amount"].milligrams, self.written("amount")


class ScaleForm(ActForm):
    name = forms.CharField(label="Name", max_length=60, help_text="As people call it, such as Scale A")
    division = MassField(
        label="Smallest step", positive=True, help_text="What it counts in: 1 g, 0.1 g, 0.1 oz"
    )
    minimum = MassField(label="Smallest load", required=False, help_text="On its plate; 0 if it says none")
    maximum = MassField(label="Largest load", positive=True, help_text="On its plate: 5 kg, 60 lb")
