"""What whoever runs the server watches: one word, figures that a collector reads, and the log's lines.

The figures are read back by the parser of OpenMetrics that belongs to the reference library of that format.
"""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from tests.web.conftest import Site
from webapp.server.log_lines import write_log
from webapp.services.evidence import safekeeping
from webapp.store.errors import DatabaseLocked
from webapp.web.edge import watched
from webapp.words import say


def metrics(site: Site, address: str = "127.0.0.1") -> dict[str, float]:
    answer = site.app.test_client().get("/metrics", environ_base={"REMOTE_ADDR": address})
    assert answer.status_code == 200
    assert answer.headers["Content-Type"].startswith("application/openmetrics-text")
    families = list(text_string_to_metric_families(answer.get_data(as_text=True)))
    return {sample.name: sample.value for family in families for sample in family.samples}


def test_a_collector_reads_what_stands_now(site: Site) -> None:
    before = metrics(site)
    assert before["zerokeep_tablets_in_use"] == 1
    assert "zerokeep_backup_timestamp_seconds" not in before, "what has never been has no time"
    at = datetime(2026, 11, 28, 3, 0, tzinfo=UTC)
    safekeeping.note(site.house.store, safekeeping.MADE, {}, at)
    after = metrics(site)
    assert after["zerokeep_backup_timestamp_seconds"] == at.timestamp()
    assert after["zerokeep_ledger_entries"] == before["zerokeep_ledger_entries"] + 1


def test_a_collector_is_told_when_each_certificate_ends(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    begins, ends = datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 12, 24, 18, 0, tzinfo=UTC)
    monkeypatch.setattr(watched, "its_days", lambda _: (begins, ends))
    found = metrics(site)
    assert found["zerokeep_tls_certificate_ends_timestamp_seconds"] == ends.timestamp()
    sealed_until = site.house.keyring.seal_certificate.not_valid_after_utc
    assert found["zerokeep_seal_certificate_ends_timestamp_seconds"] == sealed_until.timestamp()


def test_no_figure_names_anybody(shared_site: Site) -> None:
    answer = shared_site.app.test_client().get("/metrics").get_data(as_text=True)
    with shared_site.house.store.reading():
        people = shared_site.house.store.people.everybody()
    assert people
    for person in people:
        assert person["name"] not in answer


@pytest.mark.parametrize("address", ["192.168.40.9", "10.0.0.7", ""])
def test_an_address_that_was_not_named_gets_no_figure(shared_site: Site, address: str) -> None:
    answer = shared_site.app.test_client().get("/metrics", environ_base={"REMOTE_ADDR": address})
    assert answer.status_code == 403
    assert "zerokeep_" not in answer.get_data(as_text=True)
    assert "metrics_addresses" in answer.get_data(as_text=True)


def test_health_is_one_word_and_a_database_that_is_gone_is_told(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = site.app.test_client()
    answer = client.get("/health", environ_base={"REMOTE_ADDR": "192.168.40.9"})
    assert (answer.status_code, answer.get_data(as_text=True)) == (200, "answers\n")

    def locked() -> object:
        raise DatabaseLocked(seconds=10)

    monkeypatch.setattr(site.app.extensions["zerokeep"].store, "reading", locked)
    for path in ("/health", "/metrics"):
        answer = client.get(path)
        assert (answer.status_code, answer.headers["Retry-After"]) == (503, "10")
        assert say("web.store_locked") in unescape(answer.get_data(as_text=True))


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    stream = io.StringIO()
    yield stream
    root.handlers[:] = handlers
    root.setLevel(level)


def test_a_log_of_json_is_one_object_in_each_line_with_its_trace(log: io.StringIO) -> None:
    write_log("json", log)
    logger = logging.getLogger("zerokeep.watch")
    logger.warning("ends in %d days\nand in a second line", 20)
    try:
        int("“odd”")
    except ValueError:
        logger.exception("the audit could not be done")
    first, second = [json.loads(line) for line in log.getvalue().splitlines()]
    assert first["level"] == "WARNING"
    assert first["from"] == "zerokeep.watch"
    assert first["says"] == "ends in 20 days\nand in a second line"
    told = datetime.fromisoformat(first["at_utc"])
    assert abs(datetime.now(UTC) - told) < timedelta(minutes=5)
    assert "“odd”" in second["trace"]


def test_a_log_for_people_is_lines_of_text(log: io.StringIO) -> None:
    write_log("text", log)
    logging.getLogger("zerokeep.watch").info("entries %d", 3)
    assert log.getvalue().endswith(" INFO zerokeep.watch entries 3\n")
