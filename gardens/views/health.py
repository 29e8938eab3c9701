"""For whoever watches the service: is it alive, is it ready."""

from __future__ import annotations

from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe


@never_cache
@require_safe
def alive(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"status": "alive"})


@never_cache
@require_safe
def ready(request: HttpRequest) -> JsonResponse:
    """The database answers, and its tables are those of this code."""
    try:
        executor = MigrationExecutor(connection)
        waiting = executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError:
        return JsonResponse({"status": "not ready", "why": "the database does not answer"}, status=503)
    if waiting:
        return JsonResponse({"status": "not ready", "why": "migrations wait"}, status=503)
    return JsonResponse({"status": "ready"})
