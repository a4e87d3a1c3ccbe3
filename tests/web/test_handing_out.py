"""Bundles and heads at the desk: who gets them, what is in them, and what stands on the ledger afterwards."""

import io
import json
import zipfile
from email import message_from_bytes
from hashlib import sha256
from pathlib import Path
from uuid import UUID

from tests.web.conftest import Site
from webapp.proof.ledger import bundle_check
from webapp.services.decisions import signing_off
from webapp.services.evidence.signed_heads import read_head


def test_one_button_hands_out_a_setup_and_days_hand_out_all(site: Site) -> None:
    walk = site.house.signed()
    auditor = site.signed_in("odo")
    assert "Bundle for an auditor" in auditor.page(f"/desk/setups/{walk.setup}")
    day = site.house.clock().date()
    for path, typed in (
        (f"/desk/setups/{walk.setup}/bundle.zip", {}),
        ("/audit/bundle", {"first": str(day), "last": str(day)}),
    ):
        answer = auditor.send(path, **typed)
        assert answer.status_code == 200, answer.get_data(as_text=True)
        assert answer.headers["Content-Type"] == "application/zip"
        with zipfile.ZipFile(io.BytesIO(answer.get_data())) as bundle:
            keys = [key.text for key in site.house.keyring.head_keys]
            assert bundle_check.check(bundle.read, set(bundle.namelist()), keys, None)
            assert any(walk.setup in name for name in bundle.namelist())
    with site.house.store.reading():
        told = site.house.store.ledger.changes(kind="evidence.handed_out")
    assert [row["by"] for row in told] == ["odo", "odo"]


def test_days_that_are_none_or_the_wrong_way_round_are_told_beside_the_field(site: Site) -> None:
    lead = site.signed_in("ines")
    wrong = lead.send("/audit/bundle", first="2026-11-09", last="2026-11-02")
    assert wrong.status_code == 422
    assert "last day lies before" in wrong.get_data(as_text=True)
    assert lead.send("/audit/bundle", first="soon", last="").status_code == 422
    end = lead.send("/audit/bundle", first="2026-11-02", last="9999-12-31")
    assert end.status_code == 422
    assert "9999-12-31" in end.get_data(as_text=True)


def test_the_head_is_printed_kept_and_mailed_and_compared_later(site: Site) -> None:
    auditor, keys = site.signed_in("odo"), site.house.keyring.head_keys
    note = auditor.get("/audit/head.txt").get_data(as_text=True)
    head = read_head(note, keys)
    page = auditor.page("/audit/head")
    assert str(head.size) in page
    assert sha256(Path(bundle_check.__file__).read_bytes()).hexdigest() in page
    mail = message_from_bytes(auditor.get("/audit/head.eml").get_data())
    assert read_head(str(mail.get_payload(decode=True), "utf-8").partition("\n\n")[2], keys).size >= head.size
    site.house.accept(site.house.walk().start().parts)
    paper = f"{head.size} " + " ".join(head.root[place : place + 4] for place in range(0, 64, 4)).upper()
    for typed in ({"one": note}, {"one": paper}, {"one": note, "other": paper}):
        assert "The ledger only grew" in auditor.send("/audit/heads", **typed).get_data(as_text=True)
    other = auditor.send("/audit/heads", one=f"{head.size} {'ab' * 32}", other=note).get_data(as_text=True)
    assert "not one ledger that grew" in other
    beyond = auditor.send("/audit/heads", one=f"{10**6} {'ab' * 32}").get_data(as_text=True)
    assert "The ledger went back" in beyond
    assert auditor.send("/audit/heads", one="no head").status_code == 422
    assert auditor.send("/audit/heads", one="  ", other=" ").status_code == 422


def test_who_took_a_copy_and_who_was_denied_stands_on_the_ledger(site: Site) -> None:
    walk, store = site.house.signed("tomas"), site.house.store
    auditor, operator = site.signed_in("odo"), site.signed_in("mara")
    for _ in range(2):
        assert auditor.get(f"/desk/setups/{walk.setup}/unsigned.pdf").status_code == 200
        assert auditor.get("/desk/past.csv").status_code == 200
    for _ in range(3):
        assert operator.get("/audit").status_code == 403
        assert operator.get(f"/desk/setups/{walk.setup}").status_code == 404
        assert operator.send("/audit/bundle", first="2026-11-02", last="2026-11-02").status_code == 403
    assert site.browser().get("/audit").status_code == 303
    with store.reading():
        told = {
            kind: [(row["by"], row["subject"]) for row in store.ledger.changes(kind=kind)]
            for kind in ("setup.downloaded_unsigned", "values.exported", "access.denied")
        }
    assert told["setup.downloaded_unsigned"] == [("odo", walk.setup)]
    assert told["values.exported"] == [("odo", "every fixture")]
    with store.reading():
        (row,) = store.ledger.changes(kind="values.exported")
    given = sha256(auditor.get("/desk/past.csv").data).hexdigest()
    assert json.loads(row["text"])["data"] == {"fixture": None, "sha256": given}
    with store.reading():
        (row,) = store.ledger.changes(kind="setup.downloaded_unsigned")
    shown = signing_off.reviewed_now(store, walk.setup)["sha256"]
    assert json.loads(row["text"])["data"] == {"reviewed_sha256": shown}, "it is no hash of the file"
    assert sorted(told["access.denied"]) == [
        ("mara", "audit.ledger"),
        ("mara", "desk.setup"),
        ("mara", "handing_out.days"),
    ]
    with store.reading():
        texts = {row["subject"]: row["text"] for row in store.ledger.changes(kind="access.denied")}
    assert json.loads(texts["desk.setup"])["data"] == {"method": "GET", "of": {"setup_id": walk.setup}}
    site.house.clock.forward(minutes=11)
    for number in range(30):
        assert operator.send(f"/desk/setups/{UUID(int=number)}/bundle.zip").status_code == 403
    with store.reading():
        assert len(store.ledger.changes(kind="access.denied")) == 3 + 20 + 1
