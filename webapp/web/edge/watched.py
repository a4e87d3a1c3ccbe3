"""For whoever runs the server: whether it answers, and figures that a collector fetches again and again.

Rules: `/health` is for everybody and says one word; a database that does not answer is the store's own 503.
`/metrics` is for this computer and for the addresses of `metrics_addresses` alone, because it tells how busy
a shop is (OWASP ASVS 5.0, 13.4.5). It holds no name and no value, and no figure of one worker alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from ipaddress import ip_address

from flask import Blueprint, Response, request
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.openmetrics.exposition import CONTENT_TYPE_LATEST, generate_latest
from prometheus_client.registry import Collector, CollectorRegistry
from werkzeug.exceptions import Forbidden

from webapp.proof.certificates.tls_certificate import its_days
from webapp.services.audit.watched_figures import Figures, figures, look
from webapp.web.edge.wiring import Wiring, wiring

blueprint = Blueprint("watched", __name__)


class NotForThisAddress(Forbidden):
    """Figures were asked for from an address that was not named."""

    code_word = "web.metrics_elsewhere"


@blueprint.get("/health")
def health() -> Response:
    """One word, once the database has answered."""
    look(wiring().store)
    return Response("answers\n", mimetype="text/plain")


@blueprint.get("/metrics")
def metrics() -> Response:
    """The figures of now in the OpenMetrics format."""
    parts = wiring()
    if not _may_ask(request.remote_addr, parts.settings.metrics_addresses):
        raise NotForThisAddress
    registry = CollectorRegistry()
    registry.register(_Now(parts))
    return Response(generate_latest(registry), content_type=CONTENT_TYPE_LATEST)


def _may_ask(address: str | None, named: tuple[str, ...]) -> bool:
    try:
        asks = ip_address(address or "")
    except ValueError:
        return False
    asks = getattr(asks, "ipv4_mapped", None) or asks  # as it calls where the server listens at ::
    return asks.is_loopback or str(asks) in named


class _Now(Collector):
    """Collects what stands when it is asked."""

    def __init__(self, parts: Wiring) -> None:
        self._parts = parts

    def collect(self) -> Iterator[GaugeMetricFamily]:
        found = figures(self._parts.store)
        yield from (_gauge(name, says, value) for name, says, value in _counts(found) if value is not None)
        for name, says, at in (*_times(found), *self._ends()):
            if at is not None:
                yield _gauge(f"{name}_timestamp_seconds", says, at.timestamp())

    def _ends(self) -> Iterator[tuple[str, str, datetime | None]]:
        days = its_days(self._parts.settings.tls_certificate)
        sealed_until = self._parts.keyring.seal_certificate.not_valid_after_utc
        yield "seal_certificate_ends", "When the certificate of the seal ends", sealed_until
        yield "tls_certificate_ends", "When the certificate that tablets are shown ends", days and days[1]


def _counts(found: Figures) -> Iterator[tuple[str, str, int | None]]:
    yield "ledger_entries", "Entries of the ledger", found.ledger_entries
    yield "setups_waiting", "Setups that are signed and wait for a lead", found.setups_waiting
    yield "tablets_in_use", "Tablets that may send", found.tablets_in_use
    yield "audit_faults", "What did not fit at the last audit", found.audit_faults


def _times(found: Figures) -> Iterator[tuple[str, str, datetime | None]]:
    yield "audit", "When the last audit ended", found.audit_at
    yield "backup", "When the last backup was made", found.backup_at
    yield "backup_tried", "When it was last tried whether a backup can be brought back", found.backup_tried_at


def _gauge(name: str, says: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"zerokeep_{name}", says, value=value)
