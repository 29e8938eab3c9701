"""``manage.py verify``: every balance derived again from its movements. Exit code 1 where they disagree."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand

from blends import ledger
from blends.models import Flag
from gardens.figures import MINUS
from gardens.models import Programme


class Command(BaseCommand):
    help = "Derive all balances again from the movements; name what disagrees, and what is to settle."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--programme", type=int, help="only the programme with this id")

    def handle(self, *args: Any, **options: Any) -> None:
        programmes = Programme.objects.order_by("pk")
        if options["programme"]:
            programmes = programmes.filter(pk=options["programme"])
        disagreement = sum(self._programme(programme) for programme in programmes)
        if disagreement:
            raise SystemExit(1)

    def _programme(self, programme: Programme) -> int:
        wrong = ledger.disagreements(programme)
        amount = sum(abs(w.balance_mg - w.moved_mg) for w in wrong)
        self.stdout.write(f"{programme.name}: disagreement {amount} mg")
        for each in wrong:
            self.stdout.write(
                f"  {each.place} (place {each.place.pk}): the balance says {each.balance_mg} mg, "
                f"its movements {each.moved_mg} mg"
            )
        flags = (
            Flag.objects.filter(programme=programme, settled_at=None)
            .select_related(
                "ticket",
                "place__lot__material",
                "place__garden",
                "place__pail__batch",
                "place__plot__garden",
                "place__batch",
            )
            .order_by("pk")
        )
        for flag in flags:
            note = f", {flag.note}" if flag.note else ""
            self.stdout.write(
                f"  to settle: ticket {flag.ticket}, {flag.place}: {flag.get_code_display()}, "
                f"{flag.mass_mg / 1000:,.3f} g{note}".replace("-", MINUS)
            )
        return amount
