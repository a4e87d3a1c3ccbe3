"""A setup is folded once for a request, whatever asks for its state."""

from __future__ import annotations

from collections import Counter

import pytest

from tests.kit.shop import PASSPHRASES, PINS
from tests.kit.walk import Walk
from tests.web.conftest import Site
from webapp.domain.setup.fold import AnyEvent, Fold
from webapp.services.audit.auditing import audit
from webapp.services.setups import stored_setups

Folds = Counter[str]


@pytest.fixture
def folds(monkeypatch: pytest.MonkeyPatch) -> Folds:
    """How often each setup is folded, by its id: counted where a fold takes its first event."""
    counted: Folds = Counter()
    apply, begun = Fold.apply, set[Fold]()

    def counting(self: Fold, event: AnyEvent) -> list[object]:
        if self not in begun:
            begun.add(self)
            counted[event["setup"]] += 1
        return apply(self, event)  # type: ignore[return-value]

    monkeypatch.setattr(Fold, "apply", counting)
    return counted


def signed(site: Site) -> Walk:
    """A walk to its end, signed, on its tablet."""
    walk = site.house.walk().through()
    walk.sign(PINS[walk.person], site.house.keyring)
    return walk


def as_after_a_start(folds: Folds) -> None:
    """Nothing counted, and nothing at hand that was folded before."""
    folds.clear()
    stored_setups._FOLDED.clear()


def test_an_upload_with_its_signature_is_folded_once(site: Site, folds: Folds) -> None:
    walk, tablet = signed(site), site.signed_in("ines")
    folds.clear()
    assert tablet.call("/api/events", {"events": walk.parts}).status_code == 200
    assert folds == {walk.setup: 1}
    as_after_a_start(folds)
    store = site.house.store
    with store.reading():
        assert stored_setups.fold_stored(store, walk.setup)["signatures"][-1]["state"] == "verified"
        kept = store.setups.setup(walk.setup)
        events = stored_setups.events_of(store, walk.setup)
        row = stored_setups.setup_row(store, events, stored_setups.fold_stored(store, walk.setup))
    assert kept is not None
    assert {name: kept[name] for name in row} == row  # type: ignore[literal-required]
    assert audit(store) == []


@pytest.mark.parametrize(
    "path", ["/desk", "/desk/setups/{}", "/desk/setups/{}/sign-off", "/desk/setups/{}/unsigned.pdf"]
)
def test_a_page_folds_each_setup_once(site: Site, folds: Folds, path: str) -> None:
    lead, walk = site.signed_in("ines"), signed(site)
    lead.call("/api/events", {"events": walk.parts})
    as_after_a_start(folds)
    assert lead.get(path.format(walk.setup)).status_code == 200
    assert folds[walk.setup] == 1


def test_a_decision_folds_its_setup_as_it_was_and_as_it_is(site: Site, folds: Folds) -> None:
    # Two states are folded, each once, and neither a third time for the lists or the seal.
    lead, walk = site.signed_in("ines"), signed(site)
    lead.call("/api/events", {"events": walk.parts})
    seen = site.house.seen(walk.setup)
    as_after_a_start(folds)
    path = f"/desk/setups/{walk.setup}/sign-off"
    answer = lead.send(path, note="", passphrase=PASSPHRASES["ines"], seen=seen)
    assert answer.status_code == 303
    assert folds[walk.setup] <= 2


def test_what_changed_is_folded_anew(site: Site, folds: Folds) -> None:
    walk, tablet = signed(site), site.signed_in("ines")
    store, parts = site.house.store, walk.parts
    tablet.call("/api/events", {"events": parts[:5]})
    with store.reading():
        before = stored_setups.fold_stored(store, walk.setup)["steps"]
    tablet.call("/api/events", {"events": parts[5:]})
    as_after_a_start(folds)
    with store.reading():
        after = [stored_setups.fold_stored(store, walk.setup)["steps"] for _ in range(2)]
    assert folds[walk.setup] == 1
    assert after[0] == after[1] != before
