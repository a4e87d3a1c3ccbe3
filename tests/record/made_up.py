"""Setups of an invented shop, told event by event, for the records that the tests print.

Nothing here is signed: the record room prints what the proof room has checked.
"""

import base64
import json
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from hashlib import sha256
from typing import Any

from tests.kit.reviewing import bound
from webapp.domain.causes.facts import Candidate
from webapp.domain.drawing.drawing import Vise, draw_touch
from webapp.domain.plain.json_strict import canonical_text
from webapp.domain.plain.lengths import Display, Unit
from webapp.domain.procedure.procedure import Stage
from webapp.domain.procedure.shipped import NOTICE, SHIPPED
from webapp.domain.record.bundle import RecordBundle
from webapp.domain.touch.compare import compared_on_sheet, slot_length_nm, touch_length_nm, verdict_on

MM = 1_000_000
DEVICE = "d" * 43
SETUP = "7b0f3c1e-5d2a-4c8e-9b1f-2f6f0a6b7c11"
DAY = "2026-11-25"
VISE = Vise(150 * MM, 20 * MM, 40 * MM, 90 * MM, clamping_axis="Y", clamping_direction=-1)
USUAL_NM = {"X": -413_331_000, "Y": -202_118_000, "Z": -318_404_000}
TYPED = {"X": "-413.338", "Y": "-202.110", "Z": "-318.401"}
TYPED_INCHES = {"X": "-16.2732", "Y": "-7.9574", "Z": "-12.5355"}
TOUCHED = {"X": ("left_end", -1, 1), "Y": ("front", -1, 1), "Z": ("top", 1, -1)}


def approach(axis: str) -> dict[str, Any]:
    return {"axis": axis, "gap_low_nm": MM, "gap_high_nm": 5_350_000, "range_nm": 6_350_000}


def made_sheet(inches: bool = False, names: dict[str, str] | None = None) -> dict[str, Any]:
    """A sheet with every part that a record prints."""
    said = {"shop": "Teaching shop, hall 3", "machine": "Plover", "fixture": "Vise A",
            "mara": "Mara Lindqvist", "probe": "Probe 2", **(names or {})}  # fmt: skip
    display = Display(Unit.INCH, 4) if inches else Display(Unit.MM, 3)
    usual = {"ask_nm": 31_000, "stop_nm": 45_000, "values": 42, "seatings": 6, "reasons": []}
    words = {"{slot}": "{slot}", "{probe_tool}": "30", "{parking_tool}": "1", "{probe}": said["probe"],
             "{fixture}": said["fixture"], "{machine}": said["machine"], "{lead}": "the lead of the shop",
             "{door}": "Door closed, no hand inside.", "{stop}": "feed hold", "{units}": "millimetres",
             "{kept}": "The control is kept from starting.", "{probe_rule}": "It never turns.",
             "{input_shown}": "", "{slot_shown}": ""}  # fmt: skip
    return {
        "domain": "zerokeep/sheet/1",
        "compiled_at_utc": f"{DAY}T06:00:00.000Z",
        "expires_at_utc": "2026-12-02T06:00:00.000Z",
        "shop": {"name": said["shop"], "lead": "the lead of the shop, bench 1", "notice": NOTICE},
        "machine": {
            "id": "plover", "name": said["machine"], "unit": display.unit.value, "decimals": display.decimals,
            "travel_nm": {"X": [-800 * MM, 0], "Y": [-450 * MM, 0], "Z": [-500 * MM, 0]},
            "confirm_limit_nm": 10 * MM, "slot_family": ["G54", "G55", "G56"], "probe_tool": "30",
            "parking_tool": "1",
        },
        "fixture": {"id": "vise-a", "name": said["fixture"],
                    "seating": {"id": "seating-6", "since_utc": "2026-10-05T07:30:00.000Z"}},
        "probe": {"id": "probe-2", "name": said["probe"], "ball_diameter_nm": 6 * MM,
                  "stylus_reach_nm": 50 * MM},
        "people": [{"id": "mara", "name": said["mara"], "until_utc": "2027-03-31T00:00:00.000Z"}],
        "slots": [
            slot_row("G54", "shop", None, None), slot_row("G55", "person", "ines", "Ines Obuya"),
            slot_row("G56", "person", "mara", said["mara"]),
        ],
        "board": {"state": "clear", "since_utc": f"{DAY}T06:00:00.000Z", "by_name": "Ines Obuya",
                  "open_questions": 0},
        "axes": [
            {
                "axis": axis, "normal": normal, "search": sense,
                "search_label": f"{axis}{'+' if sense > 0 else '−'}",
                "face": face, "approach": approach(axis), "approach_error": None,
                "usual": {**usual, "centre_nm": USUAL_NM[axis]}, "causes": made_causes(axis, normal),
                "drawing": draw_touch(VISE, 6 * MM, approach(axis), axis, face, normal, display),
            }
            for axis, (face, normal, sense) in TOUCHED.items()
        ],
        "procedure": {"id": SHIPPED.id, "revision": sha256(b"revision").hexdigest(), "title": SHIPPED.title,
                      "stages": [made_stage(settled(asdict(stage)), words) for stage in in_order()]},
    }  # fmt: skip


def made_causes(axis: str, normal: int) -> dict[str, Any]:
    """What causes of an axis are named from: the ball's radius in its ways, and the zero from clearing."""
    radius = {"radius": "3.000", "unit": "mm"}
    off = {"cause.ball_left_out": normal * 3 * MM, "cause.ball_twice": -normal * 3 * MM}
    found = [
        Candidate(code, USUAL_NM[axis] + off_nm, USUAL_NM[axis] + off_nm, 12_000, radius)
        for code, off_nm in off.items()
    ]
    candidates = [one.as_dict() for one in [*found, Candidate("cause.zero_left", 0, 0, 289)]]
    return {"chance_nm": 31_000, "uncertainty_nm": 12_000, "candidates": candidates}


def slot_row(label: str, kind: str, owner: str | None, name: str | None) -> dict[str, Any]:
    values = {"X": -413_340_000, "Y": -202_115_000, "Z": -318_399_000} if label == "G56" else None
    return {"label": label, "kind": kind, "owner_id": owner, "owner_name": name, "until_utc": None,
            "held_back": False, "last_values_nm": values, "last_seen_at_utc": None}  # fmt: skip


def in_order() -> list[Stage]:
    """The shipped stages for a fixture whose sides are touched first, X before Y."""
    order = {axis: place for place, axis in enumerate("xyz")}
    places = [place for place, stage in enumerate(SHIPPED.stages) if stage.id in order]
    touches = sorted((SHIPPED.stages[place] for place in places), key=lambda stage: order[stage.id])
    return [*SHIPPED.stages[: places[0]], *touches, *SHIPPED.stages[places[-1] + 1 :]]


ONLY_WHERE_ASKED = {"level", "there", "picture"}


def settled(stage: dict[str, Any]) -> dict[str, Any]:
    """The stage as the sheet of a fixture has it that asks for no look for square,
    its fixed jaw at the back.
    """
    steps = [
        {
            name: value
            for name, value in step.items()
            if name not in {"when", "variants"} and not (name in ONLY_WHERE_ASKED and not value)
        }
        for step in stage["steps"]
        if step["when"] == ""
    ]
    for step in steps:
        step["checks"] = [
            {"id": one["id"], "label": one["label"]} for one in step["checks"] if one["when"] == ""
        ]
        if step["kind"] == "jaw":
            step["choices"] = [{**one, "closes": one["id"] == "back"} for one in step["choices"]]
    return {**stage, "steps": steps}


def made_stage(stage: dict[str, Any], words: dict[str, str]) -> dict[str, Any]:
    """The stage with all marks filled in, those of its axis too."""
    axis = stage["short"]
    own = (
        {"{axis}": axis, "{search}": f"{axis}{'+' if TOUCHED[axis][2] > 0 else '−'}"}
        if axis in TOUCHED
        else {}
    )
    made: dict[str, Any] = filled(stage, words | own)
    return made


def filled(value: Any, words: dict[str, str]) -> Any:
    """The value with every mark in its texts replaced, as the sheet's compiler does."""
    if isinstance(value, str):
        for mark, word in words.items():
            value = value.replace(mark, word)
        return value
    if isinstance(value, dict):
        return {name: filled(item, words) for name, item in value.items()}
    return [filled(item, words) for item in value] if isinstance(value, list | tuple) else value


@dataclass
class Tale:
    """One setup under way; every call is one event of the tablet or one decision of the server."""

    sheet: dict[str, Any] = field(default_factory=made_sheet)
    people: list[dict[str, Any]] = field(default_factory=lambda: [
        {"id": "mara", "name": "Mara Lindqvist", "roles": ["operator"]},
        {"id": "okko", "name": "Okko Brandt", "roles": ["lead"]},
    ])  # fmt: skip
    events: list[str] = field(default_factory=list)
    decisions: list[str] = field(default_factory=list)
    seconds: int = 0
    last: str | None = None

    def __post_init__(self) -> None:
        self.sheet_text = canonical_text(self.sheet)
        self.steps = [step for stage in self.sheet["procedure"]["stages"] for step in stage["steps"]]

    def at_utc(self) -> str:
        self.seconds += 17
        minutes, seconds = divmod(self.seconds, 60)
        return f"{DAY}T08:{minutes:02}:{seconds:02}.345Z"

    def tell(self, kind: str, step: str | None, **data: Any) -> str:
        """Add an event and return its id."""
        event = {
            "domain": "zerokeep/event/1", "type": kind, "device": DEVICE, "sequence": len(self.events) + 1,
            "previous": self.last, "setup": SETUP, "sheet": sha256(self.sheet_text.encode()).hexdigest(),
            "app": "0.1.0", "person": "mara", "at_utc": self.at_utc(), "elapsed_ms": self.seconds * 1000,
            "step": step, "data": data,
        }  # fmt: skip
        signed = f"{encoded(b'{}')}.{encoded(canonical_text(event).encode())}"
        self.events.append(f"{signed}.{encoded(b'not checked here')}")
        self.last = sha256(signed.encode()).hexdigest()
        return self.last

    def decide(self, kind: str, by: str = "okko", **data: Any) -> None:
        """Add a decision of the server."""
        decision = {"domain": "zerokeep/change/1", "type": kind, "at_utc": self.at_utc(), "by": by,
                    "subject": SETUP, "setup": SETUP, "data": data}  # fmt: skip
        self.decisions.append(canonical_text(decision))

    def start(self) -> None:
        self.tell("setup.started", None, machine="plover", display="standalone")

    def walk(self, until: str | None = None, after: str | None = None) -> None:
        """Answer every step as it should be,
        from behind the step `after` up to and without the step `until`.
        """
        for step in self.between(until, after):
            self.answer(step)

    def between(self, until: str | None, after: str | None) -> Iterator[dict[str, Any]]:
        ids = [step["id"] for step in self.steps]
        first = 0 if after is None else ids.index(after) + 1
        yield from self.steps[first : None if until is None else ids.index(until)]

    def answer(self, step: dict[str, Any]) -> None:
        kind, here = step["kind"], step["id"]
        if kind == "caution":
            self.tell("caution.read", here, caution=step["caution"]["id"])
        elif kind == "board":
            self.tell("board.checked", here, found="clear", text="")
        elif kind in {"confirm", "jaw", "input", "over", "lower", "search"}:
            self.tell("step.done", here, answer=step["choices"][0]["id"] if step["choices"] else "done")
        elif kind == "checks":
            self.tell("checks.ticked", here, ticked=[check["id"] for check in step["checks"]])
        elif kind in {"tool_in", "tool_out"}:
            self.tell("tool.read", here, typed="T30" if kind == "tool_in" else "1", matches=True)
        elif kind == "slot":
            self.tell("slot.read", here, typed="g56", outcome="own")
        elif kind in {"copy", "clear"}:
            self.values(kind, here)
        elif kind == "touch":
            self.touch(step["axis"])
        elif kind == "compare":
            self.tell("touch.kept", here, axis=step["axis"], because="agrees")
        elif kind == "finish":
            self.tell("setup.finished", here, outcome="complete")
        else:
            signed = self.tell("setup.signed", here, meaning="performed")
            self.decide("signature.verified", by="server", event=signed, person="mara", key="pin-1")

    @property
    def inches(self) -> bool:
        return bool(self.sheet["machine"]["unit"] == "in")

    def values(self, kind: str, here: str) -> None:
        machine = self.sheet["machine"]
        old = {"X": "-16.2732", "Y": "-7.9600", "Z": "-12.5354"} if self.inches else {
            "X": "-413.340", "Y": "-202.190", "Z": "-318.399"}  # fmt: skip
        typed = old if kind == "copy" else dict.fromkeys("XYZ", "0")
        values_nm = {axis: slot_length_nm(text, machine, axis) for axis, text in typed.items()}
        if kind == "clear":
            self.tell("slot.cleared", here, typed=typed, values_nm=values_nm)
        else:
            compared = compared_on_sheet(values_nm, "G56", self.sheet)
            self.tell("values.copied", here, typed=typed, values_nm=values_nm, compared=compared)

    def touch(self, axis: str, typed: str | None = None) -> str:
        typed = typed or (TYPED_INCHES if self.inches else TYPED)[axis]
        value_nm = touch_length_nm(typed, self.sheet["machine"], axis)
        usual = next(one["usual"] for one in self.sheet["axes"] if one["axis"] == axis)
        verdict, difference_nm = verdict_on(value_nm, usual)
        return self.tell("touch.entered", f"{axis.lower()}.touch", axis=axis, typed=typed, value_nm=value_nm,
                         verdict=verdict, difference_nm=difference_nm)  # fmt: skip

    def bundle(self, sealed: bool = True) -> RecordBundle:
        shop = self.sheet["shop"]["name"]
        ledger = {"size": 4183, "root": sha256(b"root").hexdigest()} if sealed else None
        record = {
            "domain": "zerokeep/record/1", "setup": SETUP, "shop": shop, "people": self.people,
            "sealed_at_utc": f"{DAY}T09:30:00.000Z" if sealed else None, "ledger": ledger,
            "renderer": {"weasyprint": "70.0", "zerokeep": "0.1.0"}, "step_pace": None,
        }  # fmt: skip
        device = {"id": DEVICE, "name": "tablet 2", "jwk": {"kty": "EC", "crv": "P-256", "x": "x", "y": "y"}}
        return RecordBundle(self.sheet_text, tuple(self.events), (device,), tuple(self.decisions), record)

    def sign_off(self, note: str = "") -> None:
        self.decide("setup.signed_off", meaning="reviewed and accepted", note=note)
        self.decisions = list(bound(self.bundle()).decisions)


def encoded(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


def normal(sheet: dict[str, Any] | None = None) -> Tale:
    """Everything agrees; the operator pressed hold once."""
    tale = Tale() if sheet is None else Tale(sheet)
    tale.start()
    tale.walk(until="x.touch")
    tale.tell("hold.pressed", "x.touch")
    tale.walk(after="x.search")
    tale.sign_off()
    return tale


def asked() -> Tale:
    """Y differs: a question, the lead says go on;
    before that a worry, a corrected step, a wrong tool number.
    """
    tale = Tale()
    tale.start()
    tale.walk(until="probe.load")
    tale.tell("tool.read", "probe.load", typed="3", matches=False)
    tale.walk(until="y.touch", after="vise.bare")
    tale.tell("worry.raised", "y.touch", worry="machine_looks_wrong", text="Coolant drips on the jaw.")
    tale.touch("Y", "-202.080")
    question = "0d4f8a52-7a39-4f0b-8a44-0f1f4b0d2a31"
    tale.tell(
        "question.put", "y.compare", question=question, axis="Y", text="Vise was bumped by the pallet truck?"
    )
    tale.decide(
        "question.answered", question=question, axis="Y", decision="go_on", reason="I looked: it sits tight."
    )
    tale.tell("touch.kept", "y.compare", axis="Y", because="question")
    tale.tell("setup.resumed", "z.over", away_ms=780_000)
    tale.walk(after="y.compare")
    tale.sign_off("Watch the pallet truck. Next seating check moved to Friday.")
    return tale


def stopped() -> Tale:
    """X is far off, touched again: the second touch agrees with the usual."""
    tale = Tale()
    tale.start()
    tale.walk(until="x.touch")
    tale.touch("X", "-410.324")
    tale.tell("touch.repeated", "x.compare", axis="X")
    tale.walk(until="x.touch", after="clear.values")
    tale.touch("X")
    tale.tell("step.reopened", "x.compare", reopened="x.search", reason="Range was set to the wrong value.")
    tale.walk(after="x.lower")
    tale.sign_off()
    return tale


def broken_off() -> Tale:
    """A stop verdict in X; broken off, the probe put away, signed, signed off."""
    tale = Tale()
    tale.start()
    tale.walk(until="x.touch")
    tale.touch("X", "-410.324")
    tale.tell("setup.broken_off", "x.compare")
    tale.tell("break.explained", "x.compare", reason="stop_verdict", text="The jaw's end has a dent.")
    tale.walk(until="sign.review", after="z.compare")
    tale.tell("setup.finished", "sign.review", outcome="broken_off")
    tale.answer(tale.steps[-1])
    tale.sign_off("Right to stop. Vise A is taken out until the jaw is ground.")
    return tale


LONG = {
    "shop": "Zentrale Lehrwerkstatt der Fakultät für Fertigungstechnik, Halle 3, Galerie über der Härterei",
    "machine": "The third mill from the door, rebuilt after the flood of the lower hall",
    "fixture": "Double-width precision vise with the ground extension jaws, number 17",
    "mara": "Ελένη Παπαδοπούλου-Νικολαΐδου",
}
MANY_SCRIPTS = [
    "Дарья Щербакова",
    "ليلى الحداد",
    "佐藤 美咲",
    "김하늘",
    "Nguyễn Thị Ánh",
    "Zoe\u0301 A\u030angstro\u0308m",
]


def long_names() -> Tale:
    """Names that are long and names in other scripts, in every place where a name can stand."""
    tale = normal(made_sheet(names=LONG))
    tale.people = [
        {"id": "mara", "name": LONG["mara"], "roles": ["operator"]},
        {"id": "okko", "name": " · ".join(MANY_SCRIPTS), "roles": ["lead", "auditor"]},
    ]
    return tale


def inch_machine() -> Tale:
    """A machine that shows inches."""
    return normal(made_sheet(inches=True))


TALES = {"normal": normal, "asked": asked, "stopped": stopped, "broken off": broken_off,
         "long names": long_names, "inches": inch_machine}  # fmt: skip


def as_json(value: Any) -> Any:
    """The value after one trip through JSON."""
    return json.loads(json.dumps(value))
