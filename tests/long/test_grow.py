"""A slice of `python -m tests.long grow`: the shop that is measured is a true one, and neither a page nor a
call makes more statements in a shop of a thousand setups than in one of ten. Counted, never timed.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.long.grow import copied
from tests.long.growing import built, measuring
from tests.long.growing.asked import NOT_ASKED, Asking, endpoints
from tests.long.growing.large_shop import Size
from tests.long.growing.measuring import Meter
from tests.long.growing.writing import setup_id
from webapp.services.audit.auditing import audit
from webapp.services.decisions import signing_off
from webapp.store.repositories.ledger import WRITTEN_AT
from webapp.web.edge.rights import RIGHTS

FEW, MANY = 10, 1_000
SMALL = Size(machines=2, people=20, walkers=2)
# Hashes of the ledger's tree: read one for each set bit of its size, written as they become full (RFC 6962).
OF_THE_TREE = ("SELECT hash FROM node", "SELECT hash FROM leaf", "INSERT INTO node")
# A day is found by halving the ledger: a look more for each time that it doubled.
A_HALVING = WRITTEN_AT.partition(" LEFT JOIN")[0]
# A list of ten rows is at its end, and asks for nothing behind it.
LISTS = {"desk.setups", "audit.ledger"}


@pytest.fixture(scope="module")
def shops(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a shop of ten setups and one of a thousand."""
    folder = tmp_path_factory.mktemp("grown")
    for setups in (FEW, MANY):
        built.build(folder / str(setups), SMALL, setups)
    return folder


def test_the_audit_finds_nothing_in_a_grown_shop(shops: Path) -> None:
    house = built.opened(shops / str(FEW))
    assert audit(house.store) == []
    found = signing_off.detail(house.store, setup_id(7))
    assert found["state"]["status"] == "signed_off"
    house.store.close()


def test_every_page_and_call_is_asked_for_or_there_is_a_reason(shops: Path) -> None:
    with copied(shops / str(FEW)) as folder, measuring.site_on(folder) as site:
        asking = Asking(site, SMALL.machines)
        asked = endpoints([*asking.pages(FEW), *asking.calls()])
    assert RIGHTS.keys() - asked == NOT_ASKED.keys()


def test_no_page_and_no_call_makes_more_statements_in_a_shop_that_has_run_for_long(shops: Path) -> None:
    few, many = (dict(_statements(shops / str(setups), setups)) for setups in (FEW, MANY))
    more = {
        name: (few[name], count)
        for name, count in many.items()
        if count > few[name] + (name.partition(" ")[0] in LISTS)
    }
    assert more == {}


def _statements(folder: Path, setups: int) -> Iterator[tuple[str, int]]:
    with copied(folder) as copy, measuring.site_on(copy) as site:
        asking, meter = Asking(site, SMALL.machines), Meter(site)
        for name, path in asking.pages(setups).items():
            meter.cost(asking.page(path))
            yield name, _counted(meter, asking.page(path))
        for name, ready in asking.calls().items():
            yield name, _counted(meter, ready())


def _counted(meter: Meter, ask: measuring.Ask) -> int:
    meter.cost(ask)
    return sum(not one.startswith((*OF_THE_TREE, A_HALVING)) for one in meter.statements)
