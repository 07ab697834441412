"""The service in numbers, as Prometheus reads them: for whoever has the operator's token, from inside."""

import hmac
import struct
from collections.abc import Iterable, Iterator

import structlog
from django.conf import settings
from django.db import DatabaseError
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import CONTENT_TYPE_LATEST
from prometheus_client.multiprocess import MultiProcessCollector
from prometheus_client.registry import Collector

from api.problems import CONTENT_TYPE, problem_body
from coaching.models.row_security import asked_together
from coaching.models.scope import across_practices
from coaching.post_counts import read_together
from coaching.reads.readiness import is_ready
from coaching.reads.service_numbers import OutboxNumbers, ServiceNumbers, service_numbers

SCHEME = "Bearer "


@require_safe
def tell_numbers(request: HttpRequest) -> HttpResponse:
    """Nothing of it names a practice or a person. Without METRICS_TOKEN there is nothing at this address."""
    if not settings.METRICS_TOKEN:
        raise Http404
    if not _has_token(request):
        body = problem_body("not_authenticated", 401, "The token of METRICS_TOKEN is needed.")
        return JsonResponse(
            body | {"instance": request.path},
            status=401,
            content_type=CONTENT_TYPE,
            headers={"WWW-Authenticate": "Bearer"},
        )
    return HttpResponse(_written(), content_type=CONTENT_TYPE_LATEST)


def _has_token(request: HttpRequest) -> bool:
    sent = request.headers.get("Authorization", "")
    wanted = SCHEME + settings.METRICS_TOKEN
    return hmac.compare_digest(sent.encode(errors="replace"), wanted.encode())


def _written() -> bytes:
    registry = CollectorRegistry()
    registry.register(_OfRows())
    registry.register(_OfPosts())
    return generate_latest(registry)


class _OfPosts(Collector):
    """What the processes have counted; nothing where that cannot be read."""

    def describe(self) -> Iterable[Metric]:
        return []

    def collect(self) -> Iterable[Metric]:
        try:
            with read_together() as folder:
                return list(MultiProcessCollector(None, path=str(folder)).collect())
        except (OSError, ValueError, RuntimeError, struct.error) as error:
            structlog.get_logger("api").warning("counts_cannot_be_read", error=type(error).__name__)
            return []


class _OfRows(Collector):
    """Counted when it is asked; of a database that is away it only says that."""

    def describe(self) -> Iterable[Metric]:
        return []

    def collect(self) -> Iterator[Metric]:
        numbers = _numbers() if is_ready() else None
        says = "1 if the database answers and its migrations are applied."
        yield _gauge("ready", says, int(numbers is not None))
        if numbers is not None:
            yield from _families(numbers)


def _numbers() -> ServiceNumbers | None:
    try:
        with across_practices("the service in numbers"), asked_together():
            return service_numbers(now=timezone.now())
    except DatabaseError:
        return None


def _families(numbers: ServiceNumbers) -> Iterator[Metric]:
    nights = GaugeMetricFamily(
        "forbear_newest_nights", "Practices by the status of their newest night.", labels=["status"]
    )
    for status, practices in numbers.newest_nights.items():
        nights.add_metric([status], practices)
    yield nights
    failed = numbers.newest_nights_clients_failed
    yield _gauge("newest_nights_clients_failed", "Clients whom the newest nights could not score.", failed)
    yield _gauge("nights_unfinished", "Nights that are planned and not done.", numbers.unfinished_nights)
    age = "Time since the oldest night that is not done was due, planned or not; 0 if all are done."
    yield _gauge("oldest_night_seconds", age, numbers.oldest_night_s)
    dirty = "Clients whose past changed after a night had judged it, and who wait to be scored again."
    yield _gauge("clients_dirty", dirty, numbers.dirty_clients)
    yield from _outbox("mails", numbers.mail)
    yield from _outbox("webhook_deliveries", numbers.webhooks)
    build = GaugeMetricFamily("forbear_build_info", "1; what is in use is in the labels.", labels=["urgency"])
    build.add_metric([numbers.urgency_table], 1)
    yield build


def _outbox(what: str, outbox: OutboxNumbers) -> Iterator[Metric]:
    words = what.replace("_", " ")
    yield _gauge(f"{what}_waiting", f"How many {words} wait.", outbox.waiting)
    yield _gauge(f"{what}_dead", f"How many {words} of the last week will never be sent.", outbox.dead)
    age = f"Time since the oldest of the waiting {words} was written."
    yield _gauge(f"{what}_oldest_waiting_seconds", age, outbox.oldest_waiting_s)


def _gauge(name: str, says: str, value: float) -> Metric:
    return GaugeMetricFamily(f"forbear_{name}", says, value=value)


urlpatterns = [path("metrics", tell_numbers)]
