"""Every page and every call of a shop, as somebody at the desk or a tablet asks for it.

An endpoint that is not asked for stands in NOT_ASKED with the reason, so that a new one cannot be forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import timedelta
from typing import Any, cast

from tests.kit.device import Device
from tests.kit.house import House
from tests.kit.shop import PASSPHRASES
from tests.kit.walk import Walk
from tests.long.growing import large_shop
from tests.long.growing.built import tablet
from tests.long.growing.originals import signed, values_nm
from tests.long.growing.writing import setup_id
from tests.web.conftest import Browser, Site
from webapp.services.decisions import signing_off
from webapp.services.intake import enrolling
from webapp.services.setups import closing
from webapp.web.tablet import signed_answers

FAR_OFF, LEADS_OWN = 400, PASSPHRASES["ines"]
# What a page's form carries of what was read there, however its other attributes stand.
VERSION = re.compile(r'name="seen" (?:type="hidden" )?value="([0-9a-f]{64})"')
Ask = Callable[[], Any]
OFFLINE = "a file of the program, the same in every shop"
ONE_ROW = (
    "reads and writes rows of one person by their key, and hashes a secret, which takes longer than all else"
)
OWN_LINE = "writes one row of one machine or probe by its key; the page that shows it is asked for"
OWN_DRAFT = "writes the one draft of a fixture's procedure by its key; the pages that show it are asked for"
NOT_ASKED: Mapping[str, str] = {
    "api.photo": "a picture is looked at in a process of its own, and costs the same in a grown shop",
    "desk.photo": "a picture is one file, found by its setup and its hash",
    **dict.fromkeys(("step_pictures.file", "api.step_picture"), "a picture is one file, found by its hash"),
    "set_up.begin": "is over in a shop that has people: it leads to the sign-in, which is asked for",
    **dict.fromkeys(
        ("offline.worker", "offline.manifest", "offline.font", "offline.asset", "offline.icon",
        "offline.favicon", "tablet.page", "tablet.self_test"), OFFLINE,
    ),
    **dict.fromkeys(("access.choose_own", "access.change_passphrase", "access.change_pin"), ONE_ROW),
    **dict.fromkeys(
        ("budgets.confidence", "budgets.correlate", "budgets.take_correlation_back", "budgets.line",
         "budgets.take_back", "probes.care", "probes.check", "z_readings.check"), OWN_LINE,
    ),
    **dict.fromkeys(
        ("procedures.begin", "procedures.act", "procedures.step", "procedures.publish", "procedures.discard",
         "procedures.retire", "procedures.take_over", "step_pictures.page"), OWN_DRAFT,
    ),
    "deciding.seal": "prints one record: how long that takes is the printing's, see tests/bench",
    "desk.unsigned": "prints one record: how long that takes is the printing's, see tests/bench",
    "printing.trends": "prints the newest values of three axes: how long that takes is the printing's",
    "deciding.addition": "one text of one record by its key",
    "worrying.worry": "one worry by its key, as a question",
    "registers.clear_fork": "as switching a tablet off",
    "registers.answer_alarm": "one alarm by its key, as a question",
    "past.export": "grows with what it writes: measured in a process of its own",
    "past.setup": "one imported setup by its key",
    "past.take_in": "grows with the file that is taken in; looking at one is asked for",
}  # fmt: skip


@dataclass
class Asking:
    """A site with somebody signed in, and tablets in use. Everything that is asked has a name."""

    site: Site
    machines: int
    lead: Browser = field(init=False)
    news_known: dict[str, Any] = field(default_factory=dict)
    asked: int = 0

    def __post_init__(self) -> None:
        self.lead = self.site.signed_in("ines")

    @property
    def house(self) -> House:
        return self.site.house

    @property
    def other(self) -> int:
        """Another machine than the first, counted from 0, where there is one."""
        return min(1, self.machines - 1)

    @property
    def mill(self) -> str:
        return f"mill-{self.other + 1}"

    @property
    def vise(self) -> str:
        return f"vise-{self.other + 1}"

    def pages(self, setups: int) -> dict[str, str]:
        """The address of each page, by its endpoint; some twice, with other filters."""
        past, first = setup_id(setups // 2), self.house.clock().date()
        return {
            "board.machines": "/",
            "board.wall": "/wall",
            "closing.machine": f"/desk/machines/{self.mill}/closed",
            "watched.health": "/health",
            "watched.metrics": "/metrics",
            "desk.queue": "/desk",
            "deciding.sign_together": "/desk/sign-together",
            "desk.setups": "/desk/setups",
            "desk.setups of a person": "/desk/setups?person=p0003",
            "desk.setups of a machine": f"/desk/setups?machine={self.mill}&state=signed_off",
            "desk.setups of a day": f"/desk/setups?from={first}&to={first}",
            "desk.setups of a slot": "/desk/setups?slot=G54&verdict=ask",
            "desk.setups of a machine and of words": f"/desk/setups?machine={self.mill}&words=floor",
            "desk.setups_csv": "/desk/setups.csv",
            "desk.setups_csv of a machine": f"/desk/setups.csv?machine={self.mill}&state=signed_off",
            "desk.setups_json": "/desk/setups.json",
            "desk.setups_json of a person": "/desk/setups.json?person=p0003",
            "desk.record": f"/records/{past}.pdf",
            "desk.setup": f"/desk/setups/{past}",
            "access.me": "/me",
            "deciding.question": f"/desk/questions/{self.question()}",
            "registers.tablets": "/desk/tablets",
            "registers.waiting_file": "/desk/tablets/file",
            "registers.slots": "/desk/slots",
            "registers.slots by an owner's name": "/desk/slots?words=Person 00",
            "registers.slots_file": "/desk/slots.csv",
            "slots.slot": f"/desk/slots/{self.mill}/G54",
            "slots.term": "/desk/slots/term",
            "items.page": "/desk/shop",
            "items.new": "/desk/shop/fixture/new",
            "items.change": f"/desk/shop/machine/{self.mill}",
            "out_of_use.thing": f"/desk/shop/machine/{self.mill}/use",
            "items.rules": "/desk/shop/rules",
            "items.drawing": "/desk/shop/drawing.svg",
            "items.file": "/desk/shop/file",
            "set_up.guide": "/desk/set-up",
            "registers.people": "/desk/people",
            "registers.people_file": "/desk/people.csv",
            "registers.people by a name": "/desk/people?find=Person 00",
            "people.person": "/desk/people/p0003",
            "people.new": "/desk/let-in",
            "registers.machines": "/desk/machines",
            "fixtures.overview": "/desk/fixtures",
            "fixtures.trends": f"/desk/fixtures/{self.vise}/X",
            "fixtures.seating": f"/desk/fixtures/{self.vise}/seating",
            "fixtures.value": f"/desk/fixtures/{self.fixture(past)}/X/values/{past}",
            "fixtures.back": f"/desk/fixtures/{self.vise}/X/back/{self.latest()}",
            "choosing.matters": f"/desk/fixtures/{self.vise}/X/matters",
            "budgets.page": f"/desk/machines/{self.mill}/budget",
            "probes.overview": "/desk/probes",
            "probes.probe": f"/desk/probes/probe-{self.other + 1}",
            "z_readings.page": f"/desk/machines/{self.mill}/z",
            "procedures.overview": "/desk/procedures",
            "procedures.procedure": f"/desk/procedures/{self.vise}",
            "procedures.glass": f"/desk/procedures/{self.vise}/glass?machine={self.mill}&step=x.search",
            "procedures.preview": f"/desk/procedures/{self.vise}/preview?machine={self.mill}",
            "past.overview": "/desk/past",
            "past.look": "/desk/past/import",
            "audit.ledger": "/audit",
            "audit.ledger_file": "/audit/entries.csv",
            "audit.ledger by words and days": f"/audit?words=floor&from={first}&to={first}",
            "audit.ledger further down": "/audit?before=900",
            "audit.entry": "/audit/901",
            "audit.verify": "/audit/verify",
            "heads.today": "/audit/head",
            "heads.text": "/audit/head.txt",
            "heads.mail": "/audit/head.eml",
            "heads.compare": "/audit/heads",
            "handing_out.days": "/audit/bundle",
        }

    def page(self, path: str) -> Ask:
        """Asks for a page, which has to be there."""

        def ask() -> None:
            answer = self.lead.get(path)
            assert answer.status_code == 200, f"{path}: {answer.status_code}"
            answer.get_data()

        return ask

    def calls(self) -> dict[str, Callable[[], Ask]]:
        """What makes each call ready, and then gives it."""
        return {
            "api.reach": lambda: self._call("/api/reach", {"nonce": "n" * 32}),
            "api.keys": lambda: self._call("/api/keys", {}),
            "api.head": self._head,
            "api.sheet": self._sheet,
            "api.enrol": self._enrol,
            "api.events: a setup begins": self._begins,
            "api.events: a whole setup": self._whole,
            "api.news, nothing changed": self._news,
            "api.news after a touch elsewhere": self._news_after,
            "access.sign_in": self._signs_in,
            "access.sign_out": self._signs_out,
            "deciding.sign_off": self._sign_off,
            "deciding.not_accept": self._not_accept,
            "deciding.question answered": self._answer,
            "deciding.add": self._add,
            "fixtures.value left out": lambda: self._value("leave_out"),
            "fixtures.value taken back": lambda: self._value("take_in"),
            "fixtures.trends after a sign-off": self._trends_after,
            "fixtures.overview after a sign-off": self._overview_after,
            "choosing.choose": self._choose,
            "registers.make_code": lambda: self._send("/desk/tablets/code"),
            "registers.disable_tablet": self._disable,
            "registers.rename_tablet": self._rename,
            "people.change": self._change,
            "handing_out.setup": self._bundle,
            "slots.change": self._extend,
            "set_up.own_slot": self._own_slot,
            "closing.machine closed": lambda: self._closing("close"),
            "closing.machine of a closed one": self._closed_page,
            "board.machines with a closed one": lambda: self.page("/"),
            "closing.machine opened again": lambda: self._closing("open"),
        }

    def question(self) -> str:
        """A question that is open, put by somebody whose value lies far off."""
        walk = self._signed(place=FAR_OFF)
        with self.house.store.reading():
            found = self.house.store.setups.questions(setup=walk.setup)
        return found[0]["id"]

    def latest(self) -> str:
        """The setup that brought the newest value of another machine's vise."""
        with self.house.store.reading():
            seating = self.house.store.shop.seating_now(self.vise)
            assert seating is not None
            return self.house.store.kept.kept_newest(self.vise, "X", seating["id"], 1, 0)[0]["setup"]

    def fixture(self, setup: str) -> str:
        """Where a setup was."""
        with self.house.store.reading():
            return self.house.store.numbers.kept_of(setup)[0]["fixture"]

    def _signed(self, place: int = 1, machine: int = 0) -> Walk:
        self.house.clock.forward(minutes=1)
        device, person = self._tablet(machine), large_shop.owners(machine)[1]
        walk = signed(self.house, device, f"mill-{machine + 1}", person, large_shop.PIN, place)
        self.house.clock.forward(minutes=1)
        return walk

    def _tablet(self, number: int) -> Device:
        return tablet(self.house.store, number)

    def _call(self, path: str, body: Any) -> Ask:
        browser = self.site.browser()

        def ask() -> Any:
            answer = browser.call(path, body)
            assert answer.status_code == 200, f"{path}: {answer.get_data(as_text=True)}"
            return answer.get_json()

        return ask

    def _send(self, path: str, **fields: str) -> Ask:
        sent = {"csrf_token": self.lead.token(), **fields}

        def ask() -> None:
            answer = self.lead.send_raw(path, sent)
            assert answer.status_code in {200, 303}, (
                f"{path}: {answer.status_code} {answer.get_data(as_text=True)}"
            )

        return ask

    def _decide(self, page: str, path: str | None = None, **fields: str) -> Ask:
        """Send what a page's form sends, to another address than the page's where that is named."""
        found = VERSION.search(self.lead.page(page))
        assert found, page
        return self._send(path or page, seen=found[1], **fields)

    def _head(self) -> Ask:
        with self.house.store.reading():
            size = self.house.store.ledger.size()
        return self._call("/api/head", {"nonce": "n" * 32, "since": size - 40})

    def _sheet(self) -> Ask:
        hash_, text = self.house.sheet()
        return self._call("/api/sheet", {"text": text, "tag": enrolling.sheet_tag(self.house.keyring, hash_)})

    def _enrol(self) -> Ask:
        self.asked += 1
        code, device = f"9QF3KM9X{self.asked:03d}", Device(95_000 + self._devices(), "New")
        enrolling.make_code(self.house.store, "ines", self.house.clock(), code)
        body = {"code": code, "name": "New", "jwk": device.jwk, "display": "standalone",
                "proof": device.enrol_proof(code)}  # fmt: skip
        return self._call("/api/enrol", body)

    def _devices(self) -> int:
        with self.house.store.reading():
            return int(self.house.store.ask("SELECT count(*) FROM device")[0][0])

    def _walk(self) -> Walk:
        self.house.count += 1
        sheet, person = self.house.sheet(self.mill), large_shop.owners(self.other)[1]
        return Walk(self._tablet(self.other), self.house.clock, sheet, person, self.house.count, values_nm(1))

    def _begins(self) -> Ask:
        return self._call("/api/events", {"events": self._walk().start().parts})

    def _whole(self) -> Ask:
        walk = self._walk().through()
        walk.sign(large_shop.PIN, self.house.keyring)
        return self._call("/api/events", {"events": walk.parts})

    def _news_request(self, **more: Any) -> Ask:
        challenge = signed_answers.challenge(self.house.keyring, self.house.clock())
        asked = {"domain": "zerokeep/request/1", "challenge": challenge, "have": [], "setups": [],
                 "own_machines": ["mill-1"], **more}  # fmt: skip
        request = self._tablet(0).signed(asked, enrolling.REQUEST_TYPE)
        return self._call("/api/news", {"request": request})

    def known(self) -> dict[str, Any]:
        """What a tablet says that has all sheets of now."""
        told = self._news_request()()
        return {"have": [one["hash"] for one in told["sheets"]], "sheets_sha256": told["sheets_sha256"]}

    def _news(self) -> Ask:
        for _ in range(self.machines):  # for the clock alone one sheet a call is looked at
            self.known()
        return self._news_request(**self.known())

    def _news_after(self) -> Ask:
        known = self.known()
        self.house.accept(self._walk().start().until("touch").parts)
        return self._news_request(**known)

    def _signs_in(self) -> Ask:
        browser = self.site.browser()
        fields = {"csrf_token": browser.token(), "person": "tomas", "passphrase": PASSPHRASES["tomas"]}
        return lambda: browser.send_raw("/sign-in", fields)

    def _signs_out(self) -> Ask:
        browser = self.site.signed_in("tomas")
        fields = {"csrf_token": browser.token()}
        return lambda: browser.send_raw("/sign-out", fields)

    def _sign_off(self) -> Ask:
        walk = self._signed()
        return self._decide(f"/desk/setups/{walk.setup}/sign-off", note="", passphrase=LEADS_OWN)

    def _not_accept(self) -> Ask:
        walk = self._signed()
        return self._decide(
            f"/desk/setups/{walk.setup}/not-accepted", reason="Not as it should be.", passphrase=LEADS_OWN
        )

    def _answer(self) -> Ask:
        return self._send(f"/desk/questions/{self.question()}", decision="go_on", reason="Fine.")

    def _add(self) -> Ask:
        sent = {"text": "Looked at again.", "reason": "Looked at again.", "passphrase": LEADS_OWN}
        return self._send(f"/desk/setups/{setup_id(7)}/add", **sent)

    def _value(self, what: str) -> Ask:
        setup = setup_id(5)
        reason = "A chip." if what == "leave_out" else "No chip."
        return self._send(f"/desk/fixtures/{self.fixture(setup)}/X/values/{setup}", do=what, reason=reason)

    def signed_off_at(self, machine: int) -> None:
        """Let one more value join the usual of a machine."""
        walk = self._signed(machine=machine)
        seen = signing_off.reviewed_now(self.house.store, walk.setup)["sha256"]
        signing_off.sign_off(
            self.house.store, walk.setup, "ines", PASSPHRASES["ines"], "", self.house.clock(), seen=seen
        )

    def _trends_after(self) -> Ask:
        self.signed_off_at(self.other)
        return self.page(f"/desk/fixtures/{self.vise}/X")

    def _overview_after(self) -> Ask:
        self.signed_off_at(self.other)
        return self.page("/desk/fixtures")

    def _choose(self) -> Ask:
        self.asked += 1
        more = {
            "ask": str(50 + self.asked),
            "stop": "2000",
            "stop_length": "",
            "ceiling": "0.5",
            "factor": "",
        }
        return self._send(f"/desk/fixtures/{self.vise}/X/matters", **more, reason="Asked too often.")

    def _disable(self) -> Ask:
        device = Device(97_000 + self._devices(), "Lost")
        device.enrol(self.house.store, self.house.keyring, self.house.clock, f"8QF3KM9X{self._devices():03d}")
        return self._send(f"/desk/tablets/{device.id}/disable", reason="Lost.")

    def _rename(self) -> Ask:
        self.asked += 1
        return self._send(f"/desk/tablets/{self._tablet(self.other).id}/name", name=f"Mill {self.asked}")

    def _change(self) -> Ask:
        self.asked += 1
        machine = f"mill-{1 + self.asked % self.machines}"
        return self._send(
            f"/desk/people/{large_shop.person_id(self.machines * 5 + 3)}/change_right",
            machine=machine,
            level="alone",
            training=f"Change {self.asked}",
        )

    def _bundle(self) -> Ask:
        """Of a setup that waits: of one with a record it opens that, and here none is printed."""
        return self._send(f"/desk/setups/{self._signed().setup}/bundle.zip")

    def _extend(self) -> Ask:
        self.asked += 1
        slot, until = f"/desk/slots/{self.mill}/G54", self.house.clock() + timedelta(days=self.asked)
        owner = large_shop.owners(self.other)[0]
        return self._decide(slot, f"{slot}/extend", person=owner, until=until.date().isoformat())

    def _own_slot(self) -> Ask:
        return self._send("/desk/set-up/slot", slot="G59.1", until="")

    def _closing(self, do: str) -> Ask:
        self._leave(closed=do == "open")
        return self._send(f"/desk/machines/{self.mill}/closed", do=do, reason="The spindle is looked at.")

    def _closed_page(self) -> Ask:
        self._leave(closed=True)
        return self.page(f"/desk/machines/{self.mill}/closed")

    def _leave(self, *, closed: bool) -> None:
        """Let the other machine be closed, or not."""
        if bool(closing.machine_name(self.house.store, self.mill)[1]) != closed:
            act = closing.close if closed else closing.open_again
            act(self.house.store, self.mill, "As it is asked for.", "ines", self.house.clock())


def endpoints(names: list[str]) -> set[str]:
    """The endpoints among what is asked."""
    return {cast("str", name.split(" ")[0].rstrip(":,")) for name in names}
