"""Answer whether the site is up, and whether everything behind it is."""

from datetime import timedelta

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.http import require_safe
from redis import Redis, RedisError

from deploy.models import Heartbeat
from deploy.project.env import cache_location

# Three missed beats of 20 s.
STALE_AFTER = timedelta(seconds=60)


@require_safe
def web_is_up(request: HttpRequest) -> HttpResponse:  # noqa: ARG001 - Django's signature
    """Answer as long as a web process can."""
    return HttpResponse("up\n", content_type="text/plain")


@require_safe
def all_is_ready(request: HttpRequest) -> JsonResponse:  # noqa: ARG001 - Django's signature
    """Answer 200 when database, Redis, worker and beat all do their work."""
    found = {
        "database": _database_is_migrated(),
        "redis": _redis_answers(),
        "worker": False,
    }
    if found["database"]:
        # Beat sends the heartbeat, a worker writes it: one row proves both.
        found["worker"] = Heartbeat.objects.filter(
            beaten_at__gt=timezone.now() - STALE_AFTER
        ).exists()
    return JsonResponse(found, status=200 if all(found.values()) else 503)


def _database_is_migrated() -> bool:
    try:
        executor = MigrationExecutor(connection)
        return not executor.migration_plan(executor.loader.graph.leaf_nodes())
    except DatabaseError:
        return False


def _redis_answers() -> bool:
    try:
        with redis_client() as client:
            return bool(client.ping())
    except RedisError:
        return False


def redis_client() -> Redis:
    """Connect to the Redis that carries the tasks."""
    return Redis.from_url(cache_location(settings.REDIS_URL), socket_timeout=3)
