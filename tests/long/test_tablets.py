"""A slice of `python -m tests.long tablets`: a few tablets at a real server, nothing lost and nothing
doubled.
"""

from __future__ import annotations

import pytest

from tests.long.tablets import running


@pytest.mark.parametrize("on_server", [False, True], ids=["in_file", "on_server"])
def test_what_tablets_send_at_once_out_of_order_and_twice_is_kept_once(on_server: bool) -> None:
    told, found, _ = running.busy(4, on_server=on_server, machines=2, setups=1)
    assert (told.setups, told.lost, told.doubled) == (4, 0, 0)
    assert told.sent > 4 * 20
    assert len(found.took_ms["upload"]) >= 4 * 5
    assert found.took_ms["news, nothing changed"]
    assert found.bytes["news, nothing changed"] < 2_000
