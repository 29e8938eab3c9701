"""The doorbell: Celery rings, the rows of Job say what is to be done."""

from __future__ import annotations

import contextlib
import os

from celery import Celery
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "gardens.settings")  # before the app: it sets Django up by it
app = Celery("gardens")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


def make_queue_folders() -> None:
    """The queue of files needs its folders; where they cannot be made, the sweep finds the jobs all the same."""
    if settings.BROKER_URL or not settings.DATA_DIR.is_dir():
        return
    with contextlib.suppress(OSError):
        for name in ("queue", "queue-control"):
            (settings.DATA_DIR / name).mkdir(exist_ok=True)


make_queue_folders()
