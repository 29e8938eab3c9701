"""Jobs of this floor."""

from __future__ import annotations

from blends import ledger
from blends.models import Flag
from gardens.jobs import register
from gardens.models import Job
from gardens.refusals import Refused


@register("verify")
def verify(job: Job) -> str:
    """Re-derive every balance from the movements; a disagreement fails the job, for the organiser to see."""
    wrong = ledger.disagreements(job.programme)
    if wrong:
        names = "; ".join(f"{w.place}: {w.balance_mg} mg, movements say {w.moved_mg} mg" for w in wrong[:10])
        raise Refused("disagreement", f"The books disagree in {len(wrong)} places. {names}")
    waiting = Flag.objects.filter(programme=job.programme, settled_at=None).count()
    return f"Every balance agrees with its movements. To settle: {waiting}."
