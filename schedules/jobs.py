"""The jobs of this floor."""

from __future__ import annotations

from django.utils import timezone

from gardens.jobs import register
from gardens.models import Job
from schedules.actions.rounds import FREEZE, freeze_round
from schedules.models import Round, RoundState


@register(FREEZE)
def freeze_due(job: Job) -> str:
    """Freeze a round at its time; one that somebody froze by hand meanwhile stays as it is.

    A large round is frozen here too when somebody asks for it (payload ``again``), so that nobody waits for a
    page.
    """
    round = Round.objects.filter(programme=job.programme, pk=int(job.key)).first()
    if round is None:
        return "The round is gone."
    if round.state != RoundState.OPEN and not job.payload.get("again"):
        return f"Round {round.number} was frozen already."
    snapshot = freeze_round(round=round, by=job.asked_by if job.payload else None, now=timezone.now())
    total = sum(snapshot.lines.values_list("mass_mg", flat=True))
    return f"Round {round.number} is frozen at {total / 1_000_000:.3f} kg."
