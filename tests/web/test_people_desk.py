"""People at the desk: a class is let in, secrets are begun anew, rights and slots are given and ended."""

from __future__ import annotations

import io
import json
import re

import pytest
from wtforms import PasswordField

from tests.kit.shop import PASSPHRASES
from tests.web.conftest import Browser, Site, read
from webapp.services.audit import people as people_rows
from webapp.services.people import access, rights
from webapp.services.people.errors import SignInRefused
from webapp.services.shop import slots
from webapp.services.times import from_text
from webapp.web.desk.forms import DeskForm
from webapp.web.edge.errors import is_secret

SECRET = re.compile(r"<dt>first passphrase</dt><dd><code>([^<]+)</code>")
CLASS = {
    "people": "Nora Lindt\nTom Ray, tommy",
    "roles": "operator",
    "machines": "mill-1",
    "until": "2026-12-18",
    "level": "alone",
}
OWN = PASSPHRASES["ines"]


def ledger(site: Site, kind: str) -> list[dict[str, object]]:
    with site.house.store.reading():
        return [json.loads(row["text"]) for row in site.house.store.ledger.changes(kind=kind)]


def added(site: Site) -> list[object]:
    """Whom a lead let in, newest first: the shop's own people came by its file."""
    return [one["subject"] for one in ledger(site, "person.added") if one["by"] != "server"]


def slots_of(site: Site, person: str) -> dict[str, str | None]:
    with site.house.store.reading():
        rows = site.house.store.shop.slots_of([person])
        return {f"{row['machine']} {row['label']}": row["until_utc"] for row in rows}


@pytest.fixture
def lead(site: Site) -> Browser:
    return site.signed_in("ines")


def test_a_class_is_looked_at_then_let_in_and_each_signs_in_once_with_what_was_shown(
    site: Site, lead: Browser
) -> None:
    looked = lead.send("/desk/let-in", **CLASS, do="look").get_data(as_text=True)
    assert "2 people, nothing stored yet" in looked
    assert "<code>nora</code>" in looked
    assert added(site) == []
    answer = lead.send("/desk/let-in", **CLASS, do="keep", passphrase=OWN)
    shown = answer.get_data(as_text=True)
    assert answer.headers["Cache-Control"] == "no-store"
    first, second = SECRET.findall(shown)
    assert first != second
    assert added(site) == ["tommy", "nora"]
    with site.house.store.reading():
        (right,) = site.house.store.people.running(["tommy"])
    assert right["until_utc"] == "2026-12-19T00:00:00.000Z"
    assert site.browser().send("/sign-in", person="tommy", passphrase=first).status_code == 403
    assert site.browser().send("/sign-in", person="tommy", passphrase=second).status_code == 303
    assert not SECRET.search(lead.page("/desk/people/tommy"))


def test_all_faults_come_at_once_nothing_is_stored_and_what_was_typed_stays(
    site: Site, lead: Browser
) -> None:
    typed = {**CLASS, "people": "Mara Holm, mara\nTom Ray, T!\n山田", "until": "31.12.2026"}
    answer = lead.send("/desk/let-in", **typed, do="keep", passphrase=OWN)
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    assert "“31.12.2026” is no day" in page
    assert "Tom Ray, T!" in page
    typed["until"] = "2026-12-18"
    page = lead.send("/desk/let-in", **typed, do="look").get_data(as_text=True)
    assert "Line 1: " in page
    assert added(site) == []


def test_a_second_press_of_the_same_form_shows_the_same_secrets(site: Site, lead: Browser) -> None:
    press = re.search(r'name="press" type="hidden" value="([^"]+)"', lead.page("/desk/let-in"))
    assert press
    sent = {**CLASS, "do": "keep", "passphrase": OWN, "press": press[1]}
    first, again = (lead.send("/desk/let-in", **sent).get_data(as_text=True) for _ in range(2))
    assert SECRET.findall(first) == SECRET.findall(again) != []
    assert added(site) == ["tommy", "nora"]
    other = lead.send("/desk/let-in", **{**sent, "press": "another"})
    assert other.status_code == 422
    assert not SECRET.search(other.get_data(as_text=True))
    assert not SECRET.search(site.signed_in("tomas").send("/desk/let-in", **sent).get_data(as_text=True))


def test_a_last_day_that_is_over_or_beyond_the_calendar_is_refused_beside_its_field(
    site: Site, lead: Browser
) -> None:
    alone = {"authorise-level": "alone"}
    for day, told in (("2020-01-01", "2020-01-01 is over already"), ("9999-12-31", "is no day")):
        sent = {**CLASS, "until": day, "do": "keep", "passphrase": OWN}
        for path, fields in (
            ("/desk/let-in", sent),
            (
                "/desk/people/tomas/authorise",
                {"authorise-machine": "mill-2", "authorise-until": day, **alone},
            ),
            ("/desk/people/mara/change_right", {"machine": "mill-1", "until": day, "level": "alone"}),
            ("/desk/people/mara/extend_slot", {"slot": "mill-1 G54", "until": day}),
        ):
            answer = lead.send(path, **fields)
            assert answer.status_code == 422
            assert told in answer.get_data(as_text=True)
    assert added(site) == []
    with site.house.store.reading():
        assert all(one["until_utc"] != "2020-01-02" for one in site.house.store.people.running(["mara"]))


def test_somebody_may_be_called_new(lead: Browser) -> None:
    sent = {**CLASS, "people": "New Comer", "do": "keep", "passphrase": OWN}
    assert "<code>new</code>" in lead.send("/desk/let-in", **sent).get_data(as_text=True)
    assert "New Comer" in lead.page("/desk/people/new")


def test_no_secret_of_any_form_comes_back_in_clear_on_a_page(lead: Browser) -> None:
    """Every form that there is: its secret fields, with and without a prefix, are known as such."""
    kinds, names = [DeskForm], list[str]()
    while kinds:
        kind = kinds.pop()
        kinds += kind.__subclasses__()
        names += [
            name for name, field in vars(kind).items() if getattr(field, "field_class", None) is PasswordField
        ]
    assert len(set(names)) >= 6
    for name in names:
        assert is_secret(name)
        assert is_secret(f"secrets-{name}")
    for path, field in (("secrets", "secrets-passphrase"), ("roles", "roles-passphrase")):
        answer = lead.send(f"/desk/people/mara/{path}", csrf_token="old", **{field: OWN})
        assert answer.status_code == 400
        assert OWN not in answer.get_data(as_text=True)


def test_nobody_is_let_in_without_the_leads_own_passphrase(site: Site, lead: Browser) -> None:
    for passphrase in ("", "the passphrase of somebody else"):
        assert lead.send("/desk/let-in", **CLASS, do="keep", passphrase=passphrase).status_code == 422
    assert added(site) == []


def test_forgotten_secrets_are_begun_anew_shown_once_and_end_the_old_ones(site: Site, lead: Browser) -> None:
    at_work = site.signed_in("mara")
    refused = lead.send("/desk/people/mara/secrets", **{"secrets-passphrase": "not this one, sorry"})
    assert refused.status_code == 422
    assert "not your passphrase" in refused.get_data(as_text=True)
    assert at_work.get("/me").status_code == 200
    shown = lead.send("/desk/people/mara/secrets", **{"secrets-passphrase": OWN}).get_data(as_text=True)
    (fresh,) = SECRET.findall(shown)
    assert at_work.get("/me").status_code != 200
    with pytest.raises(SignInRefused):
        access.sign_in(site.house.store, "mara", PASSPHRASES["mara"], site.house.clock(), "t" * 43)
    begun = access.sign_in(site.house.store, "mara", fresh, site.house.clock(), "u" * 43)
    assert begun["must_change"]
    assert begun["must_change_pin"]


def test_a_right_is_given_with_a_last_day_that_counts_whole_and_withdrawn_with_a_reason(
    site: Site, lead: Browser
) -> None:
    given = {"authorise-machine": "mill-2", "authorise-until": "2026-12-31", "authorise-level": "alone"}
    assert lead.send("/desk/people/tomas/authorise", **given).status_code == 303
    assert ledger(site, "person.authorised")[0]["data"] == {
        "machine": "mill-2",
        "until_utc": "2027-01-01T00:00:00.000Z",
        "level": "alone",
        "training": "",
    }
    refused = lead.send("/desk/people/tomas/withdraw", machine="mill-2", reason="")
    assert refused.status_code == 422
    assert "Say why" in refused.get_data(as_text=True)
    assert lead.send("/desk/people/tomas/withdraw", machine="mill-2", reason="over").status_code == 303
    with site.house.store.reading():
        assert "mill-2" not in {one["machine"] for one in site.house.store.people.running(["tomas"])}
    assert lead.send("/desk/people/tomas/withdraw", machine="lathe", reason="none").status_code == 422


def test_a_slot_is_given_once_ended_and_set_free(site: Site, lead: Browser) -> None:
    page = lead.page("/desk/people/tomas")
    free = re.search(r'<option value="(mill-2 [^"]+)"', page)
    assert free
    row = free[1]
    give = {"give_slot-slot": row, "give_slot-until": ""}
    assert lead.send("/desk/people/tomas/give_slot", **give).status_code == 303
    assert slots_of(site, "tomas")[row] is None
    assert lead.send("/desk/people/ivo/give_slot", **give).status_code == 422
    assert lead.send("/desk/people/tomas/extend_slot", slot=row, until="2026-12-30").status_code == 303
    assert slots_of(site, "tomas")[row] == "2026-12-31T00:00:00.000Z"
    wrong = lead.send("/desk/people/tomas/extend_slot", slot=row, until="soon")
    assert wrong.status_code == 422
    assert 'value="soon"' in wrong.get_data(as_text=True)
    assert lead.send("/desk/people/tomas/release_slot", slot=row).status_code == 422
    assert lead.send("/desk/people/tomas/end_slot", slot=row).status_code == 303
    assert "ended, held back" in lead.page("/desk/people/tomas")
    assert lead.send("/desk/people/tomas/release_slot", slot=row).status_code == 303
    assert row not in slots_of(site, "tomas")


def test_roles_change_with_the_leads_passphrase_and_the_last_lead_stays(lead: Browser) -> None:
    changed = {"roles-roles": "auditor", "roles-passphrase": OWN}
    assert lead.send("/desk/people/tomas/roles", **changed).status_code == 303
    answer = lead.send("/desk/people/ines/roles", **changed)
    assert answer.status_code == 422
    assert "last lead" in answer.get_data(as_text=True)
    assert lead.send("/desk/people/mara/roles", **changed).status_code == 303
    assert lead.send("/desk/people/mara/roles", **{"roles-passphrase": OWN}).status_code == 422
    assert lead.send("/desk/people/ines/disable", **{"disable-reason": "leaves"}).status_code == 422


def test_a_disabled_person_is_out_at_once_and_can_be_taken_back(site: Site, lead: Browser) -> None:
    at_work = site.signed_in("mara")
    assert lead.send("/desk/people/mara/disable", **{"disable-reason": "term is over"}).status_code == 303
    assert at_work.get("/me").status_code != 200
    assert "out of use" in lead.page("/desk/people/mara")
    assert lead.send("/desk/people/mara/enable", **{"enable-reason": "back again"}).status_code == 303
    assert site.signed_in("mara").get("/me").status_code == 200


def test_an_auditor_reads_a_person_and_changes_nothing(site: Site) -> None:
    auditor = site.signed_in("odo")
    page = auditor.page("/desk/people/mara")
    assert "<form" not in page.split("<main", 1)[1].split("</main>", 1)[0]
    assert auditor.send("/desk/people/mara/disable", **{"disable-reason": "x"}).status_code == 403
    assert auditor.get("/desk/let-in").status_code == 403
    assert site.signed_in("mara").get("/desk/people/mara").status_code == 403
    assert site.signed_in("ines").get("/desk/people/nobody").status_code == 404


def test_a_slot_that_is_no_slot_is_a_bad_request(lead: Browser) -> None:
    assert lead.send("/desk/people/mara/end_slot", slot="mill-1").status_code == 400
    assert lead.send("/desk/people/mara/end_slot", slot="mill-1 Q9").status_code == 422


def test_times_of_the_page_are_those_of_the_store(site: Site, lead: Browser) -> None:
    lead.send("/desk/people/tomas/authorise", **{"authorise-machine": "mill-2", "authorise-level": "alone"})
    entry = ledger(site, "person.authorised")[0]
    assert from_text(str(entry["at_utc"])) == site.house.clock()


def test_a_lead_erases_the_name_of_somebody_who_left_with_the_own_passphrase(
    site: Site, lead: Browser
) -> None:
    assert "Erase this person" not in lead.page("/desk/people/ivo")
    lead.send("/desk/people/ivo/disable", **{"disable-reason": "Moved away."})
    page = lead.page("/desk/people/ivo")
    assert "the name in sealed records" in page
    wrong = lead.send("/desk/people/ivo/erase_name", **{"erase_name-passphrase": "not the own one at all"})
    assert wrong.status_code == 422
    assert "Ivo Brandt" in lead.page("/desk/people/ivo")
    done = lead.send("/desk/people/ivo/erase_name", **{"erase_name-passphrase": OWN})
    assert done.status_code == 303
    page = lead.page("/desk/people/ivo")
    assert "Ivo Brandt" not in page
    assert "Erase the name" not in page
    assert "Take into use" not in page
    assert "Ivo Brandt" not in lead.page("/desk/people")
    assert [one["by"] for one in ledger(site, "person.name_erased")] == ["ines"]


def test_a_right_says_at_which_level_by_whom_and_after_what_training(site: Site, lead: Browser) -> None:
    sent = {"authorise-machine": "mill-2", "authorise-until": "2026-12-18", "authorise-level": "beside",
            "authorise-training": "Two mornings with Ines, 20 November"}  # fmt: skip
    assert lead.send("/desk/people/tomas/authorise", **sent).status_code == 303
    page = " ".join(lead.page("/desk/people/tomas").split())
    assert "with a lead beside" in page
    assert "Two mornings with Ines" in page
    assert "Ines Varga" in page
    (said,) = [one["data"] for one in ledger(site, "person.authorised") if one["by"] == "ines"]
    assert isinstance(said, dict)
    assert (said["level"], said["training"]) == ("beside", "Two mornings with Ines, 20 November")
    refused = lead.send("/desk/people/tomas/authorise", **{**sent, "authorise-level": "blindfold"})
    assert refused.status_code == 422
    assert "with a lead beside" in lead.page("/desk/people")


def fields(page: str, action: str, number: int = 0) -> dict[str, str]:
    """What a form of the page would send without typing: the values that stand in it."""
    form = re.findall(rf'<form[^>]*/{action}"[^>]*>(.*?)</form>', page, re.DOTALL)[number]
    sent = {
        name[1]: value[1] if (value := re.search(r'value="([^"]*)"', one)) else ""
        for one in re.findall(r"<input[^>]*>", form)
        if (name := re.search(r'name="([^"]*)"', one)) and name[1] != "csrf_token"
    }
    for name, options in re.findall(r'<select[^>]*name="([^"]*)"[^>]*>(.*?)</select>', form, re.DOTALL):
        chosen = re.search(r'value="([^"]*)" selected', options)
        assert chosen
        sent[name] = chosen[1]
    return sent


@pytest.mark.parametrize("until", ["2026-12-19T00:00:00.000Z", "2026-12-18T15:30:00.000Z", None])
def test_a_press_without_typing_changes_neither_a_right_nor_a_slot(
    site: Site, lead: Browser, until: str | None
) -> None:
    store, now = site.house.store, site.house.clock.forward(minutes=1)
    rights.authorise(store, "ivo", "mill-1", until, "ines", now, "beside", "Two mornings")
    slots.give_slot(store, "mill-1", "G58", "ivo", until, "ines", now)
    site.house.clock.forward(minutes=1)
    with store.reading():
        before = store.people.running(["ivo"])
    page, given = lead.page("/desk/people/ivo"), ledger(site, "slot.given")
    assert lead.send("/desk/people/ivo/change_right", **fields(page, "change_right")).status_code == 303
    assert lead.send("/desk/people/ivo/extend_slot", **fields(page, "extend_slot")).status_code == 303
    with store.reading():
        assert store.people.running(["ivo"]) == before
    assert slots_of(site, "ivo") == {"mill-1 G58": until}
    own = fields(lead.page("/desk/slots/mill-1/G58"), "extend")
    assert lead.send("/desk/slots/mill-1/G58/extend", **own).status_code == 303
    assert slots_of(site, "ivo") == {"mill-1 G58": until}
    assert ledger(site, "slot.given") == given, "what stays as it stands is no entry"


def test_what_has_ended_is_not_brought_back_by_a_press_without_typing(site: Site, lead: Browser) -> None:
    store = site.house.store
    until = "2026-11-25T20:00:00.000Z"
    slots.give_slot(store, "mill-1", "G58", "ivo", until, "ines", site.house.clock())
    site.house.clock.forward(hours=20)
    lead = site.signed_in("ines")
    page = lead.page("/desk/people/ivo")
    for action in ("change_right", "extend_slot"):
        answer = lead.send(f"/desk/people/ivo/{action}", **fields(page, action))
        assert answer.status_code == 422
        assert "2026-11-25 is over already" in read(answer)
    assert slots_of(site, "ivo") == {"mill-1 G58": until}
    with store.reading():
        assert [one["until_utc"] for one in store.people.running(["ivo"])] == [until]


def test_a_right_is_changed_in_its_row_and_keeps_what_is_not_typed(site: Site, lead: Browser) -> None:
    store, now = site.house.store, site.house.clock.forward(minutes=1)
    rights.authorise(store, "ivo", "mill-1", None, "ines", now, "beside", "Two mornings")
    site.house.clock.forward(minutes=1)
    page = lead.page("/desk/people/ivo")
    assert 'value="mill-1"' not in page.split('id="authorise-machine"', 1)[1].split("</select>", 1)[0]
    sent = {**fields(page, "change_right"), "until": "2027-01-31"}
    assert lead.send("/desk/people/ivo/change_right", **sent).status_code == 303
    with store.reading():
        (right,) = store.people.running(["ivo"])
    assert (right["level"], right["training"]) == ("beside", "Two mornings")
    assert right["until_utc"] == "2027-02-01T00:00:00.000Z"
    refused = lead.send("/desk/people/ivo/change_right", machine="mill-1", until="soon", level="alone",
                        training="One more")  # fmt: skip
    assert refused.status_code == 422
    for typed in ('value="soon"', 'value="One more"', 'value="alone" selected'):
        assert typed in read(refused)
    again = lead.send(
        "/desk/people/ivo/authorise", **{"authorise-machine": "mill-1", "authorise-level": "alone"}
    )
    assert again.status_code == 422
    assert list(people_rows.misfits(store)) == []


def test_how_somebody_sets_up_is_asked_and_never_chosen_beforehand(site: Site, lead: Browser) -> None:
    for path in ("/desk/let-in", "/desk/people/tomas"):
        how = re.findall(r'<input[^>]*type="radio"[^>]*>', lead.page(path))
        assert how
        assert not any("checked" in one for one in how)
    unsaid = {name: value for name, value in CLASS.items() if name != "level"}
    answer = lead.send("/desk/let-in", **unsaid, do="keep", passphrase=OWN)
    assert answer.status_code == 422
    assert "Choose alone, or with a lead beside" in read(answer)
    assert "Nora Lindt" in read(answer)
    first = lead.send("/desk/people/tomas/authorise", **{"authorise-machine": "mill-2"})
    assert first.status_code == 422
    assert "Choose alone, or with a lead beside" in read(first)
    assert added(site) == []
    without = {name: value for name, value in unsaid.items() if name != "machines"}
    assert lead.send("/desk/let-in", **without, do="keep", passphrase=OWN).status_code == 200


def test_a_class_comes_from_a_csv_file_with_all_its_faults_at_once(site: Site, lead: Browser) -> None:
    faulty = "Name;Short name\nMara Holm;mara\nTom Ray;T!\n山田;\nÉmile Dûr;emile;x\nmàra okafor;other\n"
    file = (io.BytesIO(faulty.encode("utf-8-sig")), "class.csv")
    answer = lead.send("/desk/let-in", **{**CLASS, "people": "", "file": file}, do="look")
    page = answer.get_data(as_text=True)
    assert answer.status_code == 422
    for line in (2, 3, 4, 5, 6):
        assert f"Line {line}: " in page, line
    assert "Émile Dûr;emile;x" in page
    sound = (io.BytesIO("Name,Short name\nÉmile Dûr,emile\n".encode("latin-1")), "class.csv")
    page = lead.send("/desk/let-in", **{**CLASS, "people": "", "file": sound}, do="look").get_data(
        as_text=True
    )
    assert "1 person, nothing stored yet" in page
    assert "Émile Dûr" in page
    assert added(site) == []


def test_a_first_sign_in_is_one_form_with_three_fields_and_opens_the_desk(site: Site, lead: Browser) -> None:
    shown = lead.send("/desk/let-in", **CLASS, do="keep", passphrase=OWN).get_data(as_text=True)
    first = SECRET.findall(shown)[0]
    nora = site.browser()
    nora.send("/sign-in", person="nora", passphrase=first)
    page = nora.page("/me")
    assert len(re.findall(r'<input[^>]*type="password"', page)) == 3
    own = {"current": first, "new_passphrase": "nine ferries under a paper moon", "new_pin": "814572"}
    for wrong, told in (({"new_pin": "123456"}, "row"), ({"new_passphrase": "short"}, "15"),
                        ({"current": "not the words"}, "do not fit")):  # fmt: skip
        answer = nora.send("/me/own", **{**own, **wrong})
        assert answer.status_code == 422
        assert told in read(answer), told
    assert nora.send("/me/own", **own).status_code == 303
    assert nora.get("/desk/setups").status_code == 200
    with site.house.store.reading():
        person = site.house.store.people.person("nora")
    assert person is not None
    assert (person["must_change"], person["must_change_pin"]) == (False, False)
    assert site.browser().send("/sign-in", person="nora", passphrase=first).status_code == 403
