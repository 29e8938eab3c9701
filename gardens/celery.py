"""The doorbell: Celery rings, the rows of Job say what is to be done."""

from __future__ import annotations

from celery import Celery

app = Celery("gardens")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
