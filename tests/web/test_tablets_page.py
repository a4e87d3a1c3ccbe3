"""The lead's page of tablets: taking one out of use, and saying that a split history was looked into."""

import json
import re
from io import BytesIO

import pytest
from werkzeug.test import TestResponse

from tests.web.conftest import ORIGIN, Browser, Site, read
from webapp.services.audit.auditing import audit
from webapp.web.show.square_codes import square_code_svg


def fork(site: Site) -> str:
    """A tablet that wrote two events with one number; its id."""
    walk = site.house.walk().start()
    copy = walk.device.clone()
    one = walk.event("hold.pressed", {}, None)
    same = {name: one[name] for name in ("setup", "sheet", "person", "at_utc")}
    copy.event("worry.raised", {"worry": "other", "text": ""}, **same)
    site.house.accept(walk.parts + copy.sent)
    return site.house.device.id


def state(site: Site) -> str:
    with site.house.store.reading():
        device = site.house.store.devices.device(site.house.device.id)
    assert device
    return str(device["state"])


def test_a_lead_says_what_was_found_about_a_split_history_and_the_tablet_is_an_ordinary_one_again(
    site: Site,
) -> None:
    device = fork(site)
    lead = site.signed_in("ines")
    path = f"/desk/tablets/{device}/fork-cleared"
    assert path in lead.page("/desk/tablets")
    assert lead.send(path, reason="Restored from a backup on Monday.").status_code == 303
    assert state(site) == "enrolled"
    assert path not in lead.page("/desk/tablets")
    with site.house.store.reading():
        (row,) = site.house.store.ledger.changes(kind="device.fork_cleared")
    assert row["by"] == "ines"
    assert json.loads(row["text"])["data"] == {"reason": "Restored from a backup on Monday."}


def test_nothing_is_cleared_without_saying_what_was_found(site: Site) -> None:
    device = fork(site)
    lead = site.signed_in("ines")
    for reason, told in (("", "Say why"), (" " * 3, "A reason is needed")):
        answer = lead.send(f"/desk/tablets/{device}/fork-cleared", reason=reason)
        assert answer.status_code == 422
        assert told in answer.get_data(as_text=True)
    assert state(site) == "forked"


def test_a_reason_that_is_too_long_is_refused_beside_its_own_form_and_stays(site: Site) -> None:
    device = fork(site)
    lead = site.signed_in("ines")
    text = lead.send(f"/desk/tablets/{device}/fork-cleared", reason="x" * 201).get_data(as_text=True)
    cleared, _, disabled = text.partition(f"/desk/tablets/{device}/disable")
    assert f'value="{"x" * 201}"' in cleared
    assert 'aria-invalid="true"' not in disabled


def test_a_tablet_with_one_history_has_nothing_to_clear(site: Site) -> None:
    device = site.house.device.id
    lead = site.signed_in("ines")
    answer = lead.send(f"/desk/tablets/{device}/fork-cleared", reason="Just so.")
    assert answer.status_code == 422
    assert "one history only" in answer.get_data(as_text=True)
    with site.house.store.reading():
        assert site.house.store.ledger.changes(kind="device.fork_cleared") == []


def test_a_tablet_out_of_use_stays_so(site: Site) -> None:
    device = fork(site)
    lead = site.signed_in("ines")
    assert lead.send(f"/desk/tablets/{device}/disable", reason="Lost.").status_code == 303
    assert lead.send(f"/desk/tablets/{device}/fork-cleared", reason="Found.").status_code == 422
    assert state(site) == "disabled"


def test_a_lead_names_a_tablet_anew_and_the_ledger_and_an_audit_know_both_names(site: Site) -> None:
    device, lead = site.house.device.id, site.signed_in("ines")
    with site.house.store.reading():
        before = site.house.store.devices.device(device)
    assert before
    path = f"/desk/tablets/{device}/name"
    assert lead.send(path, name="  By the window  ").status_code == 303
    assert '<th scope="row" data-label="name">By the window</th>' in lead.page("/desk/tablets")
    with site.house.store.reading():
        (row,) = site.house.store.ledger.changes(kind="device.renamed")
    assert (row["by"], row["subject"]) == ("ines", device)
    assert json.loads(row["text"])["data"] == {"old": before["name"], "name": "By the window"}
    assert lead.send(path, name="By the window").status_code == 303, "the same again is no change"
    with site.house.store.reading():
        assert len(site.house.store.ledger.changes(kind="device.renamed")) == 1
    assert audit(site.house.store) == []
    with site.house.store.writing():
        site.house.store.devices.set_name(device, "Another")
    assert audit(site.house.store) != []


@pytest.mark.parametrize("name", ["", "   ", "x" * 61, "one\ttwo"])
def test_a_name_that_cannot_be_is_refused_beside_its_field_and_stays_there(site: Site, name: str) -> None:
    device, lead = site.house.device.id, site.signed_in("ines")
    answer = lead.send(f"/desk/tablets/{device}/name", name=name)
    text = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert f'aria-describedby="name-{device[:12]}-error"' in text
    assert "was typed" in text or "It is empty" in text
    with site.house.store.reading():
        assert site.house.store.ledger.changes(kind="device.renamed") == []


def test_an_operator_clears_nothing(site: Site) -> None:
    device = fork(site)
    assert site.signed_in("ivo").send(f"/desk/tablets/{device}/fork-cleared", reason="x").status_code == 403
    assert state(site) == "forked"


def test_the_storage_of_a_tablet_out_of_use_is_nobody_s_concern(site: Site) -> None:
    health = {"persisted": False, "usage_bytes": None, "quota_bytes": None, "skew_ms": None}
    with site.house.store.writing():
        site.house.store.devices.keep_health(site.house.device.id, health)
    lead = site.signed_in("ines")
    told = "storage is not protected."
    assert told in lead.page("/desk/tablets")
    assert lead.send(f"/desk/tablets/{site.house.device.id}/disable", reason="Lost.").status_code == 303
    assert told not in lead.page("/desk/tablets")


def brought(lead: Browser, content: bytes) -> TestResponse:
    """What the page answers to a file."""
    file = {"csrf_token": lead.token(), "file": (BytesIO(content), "waiting.json")}
    return lead.client.post(
        "/desk/tablets/file",
        base_url=ORIGIN,
        data=file,
        headers={"Origin": ORIGIN, "Sec-Fetch-Site": "same-origin"},
    )


def test_a_lead_brings_in_what_a_tablet_wrote_to_a_file_and_reads_what_became_of_it(site: Site) -> None:
    walk = site.house.walk().start()
    file = {"domain": "zerokeep/waiting/1", "device": walk.device.id, "events": walk.parts}
    lead = site.signed_in("ines")
    assert 'href="/desk/tablets/file"' in lead.page("/desk/tablets")
    answer = brought(lead, json.dumps(file).encode())
    assert answer.status_code == 200
    assert "Taken in" in read(answer)
    assert f"<dt>taken now</dt><dd>{len(walk.parts)}</dd>" in read(answer)
    again = brought(lead, json.dumps(file).encode())
    assert "Nothing new in it" in read(again)


def test_a_file_that_is_not_a_tablets_is_refused_beside_its_field(site: Site) -> None:
    lead = site.signed_in("ines")
    answer = brought(lead, b"at_utc,machine\n")
    assert answer.status_code == 422
    assert "not a whole file as a tablet writes it" in read(answer)
    assert lead.send("/desk/tablets/file").status_code == 422


def test_a_code_stands_there_for_a_camera_too_with_the_servers_address_and_nothing_else(site: Site) -> None:
    """The picture is that of the text, by the library that draws it (ISO/IEC 18004); no camera reads here."""
    lead = site.signed_in("ines")
    page = lead.send("/desk/tablets/code").get_data(as_text=True)
    code = "".join(re.search(r'class="v code">(\w+) (\w+)<', page).groups())  # type: ignore[union-attr]
    text = f"zerokeep/enrol/1 https://localhost {code}"
    assert len(code) == 10
    assert square_code_svg(text, within_page=True).decode() in page
    assert "<figure" not in lead.page("/desk/tablets"), "shown this once"
