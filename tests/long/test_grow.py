"""The shop that pages are measured in is a true one."""

from __future__ import annotations

from pathlib import Path

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.shop import fixed_keyring
from tests.long.grow import Grower, setup_id
from webapp.services.audit.auditing import audit
from webapp.services.decisions import signing_off


def test_the_audit_finds_nothing_in_a_grown_shop_and_each_setup_can_be_opened(tmp_path: Path) -> None:
    house = House(tmp_path, fixed_keyring(tmp_path / "keys", Clock()))
    grower = Grower(house)
    grower.until(12)
    assert audit(house.store) == []
    found = signing_off.detail(house.store, setup_id(7))
    assert found["state"]["status"] == "signed_off"
    assert house.signed_off().setup  # the shop goes on from there
    assert audit(house.store) == []
