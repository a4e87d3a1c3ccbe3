"""Every route by every role: who gets in, who is sent to sign in, who is refused."""

from __future__ import annotations

import pytest

from tests.web.conftest import Browser, Site
from webapp.web.edge.rights import RIGHTS

# Written out again and not taken from the table under test.
# P: everyone, T: tablets, then the roles that get in.
MATRIX = {
    "offline.worker": "P",
    "offline.manifest": "P",
    "offline.font": "P",
    "offline.asset": "P",
    "offline.icon": "P",
    "offline.favicon": "P",
    "tablet.page": "P",
    "tablet.self_test": "P",
    "api.reach": "T",
    "api.enrol": "T",
    "api.events": "T",
    "api.news": "T",
    "api.head": "T",
    "api.keys": "T",
    "api.sheet": "T",
    "api.photo": "T",
    "api.step_picture": "T",
    "board.machines": "P",
    "board.wall": "P",
    "closing.machine": "lead",
    "out_of_use.thing": "lead",
    "watched.health": "P",
    "watched.metrics": "P",
    "access.sign_in": "P",
    "access.sign_out": "P",
    "set_up.begin": "P",
    "set_up.guide": "lead",
    "set_up.own_slot": "lead",
    "items.page": "lead auditor",
    "items.file": "lead auditor",
    "items.new": "lead",
    "items.change": "lead",
    "items.rules": "lead",
    "items.drawing": "lead",
    "access.me": "operator lead auditor",
    "access.choose_own": "operator lead auditor",
    "access.change_passphrase": "operator lead auditor",
    "access.change_pin": "operator lead auditor",
    "desk.queue": "lead",
    "desk.setups": "operator lead auditor",
    "desk.setups_csv": "operator lead auditor",
    "desk.setups_json": "operator lead auditor",
    "desk.setup": "operator lead auditor",
    "desk.unsigned": "operator lead auditor",
    "desk.photo": "operator lead auditor",
    "desk.record": "operator lead auditor",
    "deciding.sign_off": "lead",
    "deciding.not_accept": "lead",
    "deciding.sign_together": "lead",
    "deciding.seal": "lead",
    "deciding.add": "lead",
    "deciding.addition": "lead auditor",
    "deciding.question": "lead",
    "worrying.worry": "lead",
    "fixtures.back": "lead",
    "z_readings.page": "lead auditor",
    "z_readings.check": "lead",
    "registers.tablets": "lead",
    "registers.make_code": "lead",
    "registers.disable_tablet": "lead",
    "registers.rename_tablet": "lead",
    "registers.clear_fork": "lead",
    "registers.answer_alarm": "lead",
    "registers.waiting_file": "lead",
    "registers.slots": "lead auditor",
    "registers.slots_file": "lead auditor",
    "slots.slot": "lead auditor",
    "slots.change": "lead",
    "slots.term": "lead",
    "registers.people": "lead auditor",
    "registers.people_file": "lead auditor",
    "people.new": "lead",
    "people.person": "lead auditor",
    "people.change": "lead",
    "registers.machines": "lead auditor",
    "procedures.overview": "lead auditor",
    "procedures.procedure": "lead auditor",
    "procedures.preview": "lead auditor",
    "procedures.glass": "lead auditor",
    "step_pictures.file": "lead auditor",
    "step_pictures.page": "lead",
    "procedures.begin": "lead",
    "procedures.act": "lead",
    "procedures.step": "lead",
    "procedures.publish": "lead",
    "procedures.take_over": "lead",
    "procedures.discard": "lead",
    "procedures.retire": "lead",
    "fixtures.overview": "lead auditor",
    "fixtures.trends": "lead auditor",
    "printing.trends": "lead auditor",
    "fixtures.seating": "lead",
    "fixtures.value": "lead",
    "choosing.matters": "lead auditor",
    "choosing.choose": "lead",
    "budgets.page": "lead auditor",
    "budgets.confidence": "lead",
    "budgets.correlate": "lead",
    "budgets.take_correlation_back": "lead",
    "budgets.line": "lead",
    "budgets.take_back": "lead",
    "probes.overview": "lead auditor",
    "probes.probe": "lead auditor",
    "probes.check": "lead",
    "probes.care": "lead",
    "past.overview": "lead auditor",
    "past.export": "lead auditor",
    "past.look": "lead",
    "past.take_in": "lead",
    "past.setup": "lead auditor",
    "audit.ledger": "lead auditor",
    "audit.ledger_file": "lead auditor",
    "audit.entry": "lead auditor",
    "handing_out.setup": "lead auditor",
    "handing_out.days": "lead auditor",
    "heads.today": "lead auditor",
    "heads.text": "lead auditor",
    "heads.mail": "lead auditor",
    "heads.compare": "lead auditor",
    "audit.verify": "operator lead auditor",
}
PEOPLE = {"operator": "mara", "lead": "ines", "auditor": "odo"}
NOWHERE = "00000000-0000-0000-0000-0000000000aa"


def reach(browser: Browser, site: Site, endpoint: str, method: str) -> int:
    """The status that one call of a route answers with."""
    rule = next(rule for rule in site.app.url_map.iter_rules() if rule.endpoint == endpoint)
    action = "end" if endpoint == "slots.change" else "secrets"
    known = {"position": 3, "number": 3, "axis": "X", "action": action, "kind": "machine",
             "form": "csv"}  # fmt: skip
    values = {name: known.get(name, NOWHERE) for name in rule.arguments}
    path = site.app.url_map.bind("localhost").build(endpoint, values)
    if method == "GET":
        return browser.get(path).status_code
    return browser.call(path, {}).status_code if path.startswith("/api/") else browser.send(path).status_code


def methods(site: Site, endpoint: str) -> list[str]:
    rules = [rule for rule in site.app.url_map.iter_rules() if rule.endpoint == endpoint]
    return sorted({method for rule in rules for method in (rule.methods or set())} - {"HEAD", "OPTIONS"})


def test_the_matrix_names_every_route_and_the_table_no_other(shared_site: Site) -> None:
    routes = {rule.endpoint for rule in shared_site.app.url_map.iter_rules()}
    assert routes == set(MATRIX) == set(RIGHTS)


@pytest.mark.parametrize("role", ["nobody", *PEOPLE])
def test_every_route_lets_in_exactly_the_roles_of_the_matrix(shared_site: Site, role: str) -> None:
    site = shared_site
    browser = site.browser() if role == "nobody" else site.signed_in(PEOPLE[role])
    for endpoint, allowed in sorted(MATRIX.items(), key=lambda pair: pair[0] == "access.sign_out"):
        for method in methods(site, endpoint):
            status = reach(browser, site, endpoint, method)
            told = f"{method} {endpoint} as {role}: {status}"
            if allowed in {"P", "T"} or role in allowed.split():
                assert status not in {401, 403, 500}, told
            elif role == "nobody":
                assert status == (303 if method == "GET" else 400), told
            else:
                assert status == 403, told


def test_a_table_without_an_entry_refuses_its_route_to_everyone(site: Site) -> None:
    site.app.add_url_rule("/forgotten", "forgotten", lambda: "inside")
    assert site.signed_in("ines").get("/forgotten").status_code == 403


def test_an_operator_sees_their_own_setup_and_nothing_of_another_persons(site: Site) -> None:
    hers = site.house.signed("mara")
    site.house.clock.forward(minutes=5)
    his = site.house.signed("tomas")
    mara = site.signed_in("mara")
    listed = mara.page("/desk/setups")
    assert hers.setup in listed
    assert his.setup not in listed
    assert mara.get(f"/desk/setups/{hers.setup}").status_code == 200
    for path in (
        f"/desk/setups/{his.setup}",
        f"/desk/setups/{his.setup}/unsigned.pdf",
        f"/records/{his.setup}.pdf",
    ):
        assert mara.get(path).status_code == 404, path


def test_a_person_with_given_secrets_sees_their_own_page_only_until_they_change_them(site: Site) -> None:
    with site.house.store.writing():
        site.house.store.people.change("ines", must_change=True)
    lead = site.signed_in("ines")
    for path in ("/desk", "/desk/setups", "/audit", "/desk/tablets"):
        answer = lead.get(path)
        assert answer.status_code == 303, path
        assert answer.headers["Location"] == "/me"
    assert "First choose secrets of your own" in lead.page("/me")
    assert lead.get("/").status_code == 200


def test_a_disabled_person_is_out_at_once(site: Site) -> None:
    lead = site.signed_in("tomas")
    assert lead.get("/desk").status_code == 200
    with site.house.store.writing():
        site.house.store.people.change("tomas", active=False)
    assert lead.get("/desk").status_code == 303
