"""Random but plausible cases for the rules, the same for the same seed.

A random operator mostly does what is due and sometimes something else: types another value, another slot, a
lie, answers a step that is not due, breaks off, corrects, asks. A random lead answers some questions and
decides about signatures. Most setups have one vise that sits a little off, so that repeats agree with each
other.
"""

from __future__ import annotations

from copy import deepcopy
from random import Random
from typing import Any, get_args

from tests.rules.playing import Player
from webapp.domain.evidence.event_kinds import BreakReason, LiftDecision, SlotOutcome, Trouble, WorryKind
from webapp.domain.plain.lengths import format_length
from webapp.domain.touch.compare import compared_on_sheet, display_of

Plain = dict[str, Any]

TYPED_SLOTS = (
    "G54",
    "g54",
    "54",
    "G55",
    "G56",
    "G57",
    "G58",
    "G59",
    "g59,1",
    "G59.3",
    "G99",
    "",
    " ",
    "G",
    "5",
    "G054",
)
TYPED_TOOLS = ("30", "T30", "t 030", "1", "T1", "03", "", "x", "30.0", "-1", " 1 ")
OFFS_NM = (0, 1_000, 39_000, 39_001, 45_000, 50_000, 51_000, 100_000, 1_250_000, 25_000_000)
CHARACTERS = "0123456789" * 3 + "+-\u2212..,,  \t\u00a0\u2009\u202feEx°٣"
TAKEN_OVER: Plain = {
    "type": "setup.taken_over",
    "data": {"from_setup": "3f0c9f7e-0000-4000-8000-000000000009", "from_person": "ivo"},
}
PEOPLE = ("mara", "ivo", "lena", "zoe")
SLOT_OUTCOMES: tuple[str, ...] = get_args(SlotOutcome)
WORRIES: tuple[str, ...] = get_args(WorryKind)
BREAK_REASONS: tuple[str, ...] = get_args(BreakReason)
TROUBLES: tuple[str, ...] = get_args(Trouble)
LIFTS: tuple[str, ...] = get_args(LiftDecision)


def random_setup(sheet: Plain, seed: int) -> tuple[list[Plain], list[Plain]]:
    """Events and decisions of one random setup of 1 to about 150 events."""
    chance = Random(seed)
    player = RandomPlayer(sheet, chance)
    if chance.random() < 0.97:
        machine = sheet["machine"]["id"] if chance.random() < 0.97 else "mill-9"
        player.add({"type": "setup.started", "data": {"machine": machine, "display": "standalone"}})
    if chance.random() < 0.1:
        player.add(deepcopy(TAKEN_OVER))  # what is added is written into
    # A setup that is left before anything was done ends at once: drawn apart, so that it moves no other draw.
    if Random(f"left {seed}").random() < 0.03:
        player.add({"type": "setup.left"})
    if player.events and player.events[0]["type"] == "setup.started" and chance.random() < 0.4:
        _walk_to(player, chance.choice(("copy", "copy", "over", "touch", "sign")))
    for _ in range(chance.randrange(1, 150)):
        _next(player, chance)
    chance.shuffle(player.decisions)
    return player.events, player.decisions


def _walk_to(player: Player, kind: str) -> None:
    """Answer carefully up to the first step of this kind:
    what may happen there is worth more than the way to it.
    """
    for _ in range(2 * len(player.steps)):
        current = player.current
        if current is None or player.steps[current]["kind"] == kind:
            return
        player.add(player.careful(player.steps[current]))


class RandomPlayer(Player):
    """An operator who is more or less careful, at a vise that sits somewhere."""

    def __init__(self, sheet: Plain, chance: Random) -> None:
        super().__init__(sheet, chance.choice(PEOPLE[:3]))
        self.carefulness = chance.choice((0.7, 0.9, 0.97))
        self.off_nm = {axis: chance.choice((0, 0, 45_000, 100_000, -90_000)) for axis in "XYZ"}
        self.chance = chance

    def _square(self, step: Plain) -> Plain:
        return {
            "type": "square.entered",
            "data": self.square(step["axis"], 1_000 * self.chance.randrange(-40, 41)),
        }

    def _touch(self, step: Plain) -> Plain:
        off_nm = self.off_nm[step["axis"]] + 1_000 * self.chance.randrange(-3, 4)
        return self.touched(step["axis"], off_nm)


def _next(player: RandomPlayer, chance: Random) -> None:
    current = player.current
    if current is None:
        _decide(player, chance)
    elif player.steps[current]["kind"] == "compare" and chance.random() < 0.4:
        chance.choice((_ask_again, _repeat_now, _decide, _read_now, _lift_now))(player, chance)
    elif player.steps[current]["kind"] == "sign" and chance.random() < 0.3:
        player.add({"type": "setup.left_unsigned"})
    elif player.steps[current]["kind"] == "copy" and player.waits_for_label and chance.random() < 0.6:
        _label_now(player, chance)
    elif player.steps[current]["kind"] == "copy" and chance.random() < 0.3:
        chance.choice((_copy_another, _copy_another, _label_now, _ask_about_all))(player, chance)
    elif player.steps[current]["kind"] in {"search", "touch"} and chance.random() < 0.12:
        player.add(_trouble(player, chance, player.steps[current]))
    elif player.steps[current]["kind"] == "square" and chance.random() < 0.5:
        player.add(_square(player, chance, player.steps[current]))
    elif chance.random() < player.carefulness:
        player.add(player.careful(player.steps[current]))
    elif chance.random() < 0.2:
        _decide(player, chance)
    else:
        line = chance.choice(ODD if player.sheet["square"] is None else (*ODD, _square, _square))(
            player, chance, player.steps[current]
        )
        _photo(player)
        _name_beside(player)
        if chance.random() < 0.08:
            line["step"] = chance.choice([*player.steps, "lunch.eat"])
        if chance.random() < 0.04:
            line |= chance.choice(({"person": "ivo"}, {"device": "e" * 43}, {"sheet": "6" * 64}))
        player.add(line)


def _ask_again(player: RandomPlayer, chance: Random) -> None:
    player.add(_question(player, chance, player.steps[player.current or ""]))


def _repeat_now(player: RandomPlayer, chance: Random) -> None:
    player.add(_repeat(player, chance, player.steps[player.current or ""]))


def _read_now(player: RandomPlayer, chance: Random) -> None:
    player.add(_read_again(player, chance, player.steps[player.current or ""]))


def _lift_now(player: RandomPlayer, chance: Random) -> None:
    """The lead's PIN, mostly right."""
    player.add(_lift(player, chance, player.steps[player.current or ""]))
    if chance.random() < 0.8:
        _decide_lift(player, chance)


def _decide_lift(player: Player, chance: Random) -> None:
    is_right = chance.random() < 0.6
    told = chance.choice(({}, {"tries_left": 1}))
    data = {"person": "ines", "key": "k"} if is_right else {"person": "ines", "reason": "wrong_pin", **told}
    kind = "lift.verified" if is_right else "lift.refused"
    player.decide({"decision": kind, "data": data, "event_at": chance.choice((-1, -1, 0))})


def _copy_another(player: RandomPlayer, chance: Random) -> None:
    """Old values as some row of the register was last seen with them, or as none was."""
    rows = [row["last_values_nm"] for row in player.sheet["slots"] if row["last_values_nm"] is not None]
    rows.append(rows[0] | {"Z": -12_000_000})
    display = display_of(player.sheet["machine"])
    values = {
        axis: round(value / display.resolution_nm) * display.resolution_nm
        for axis, value in chance.choice(rows).items()
    }
    compared = compared_on_sheet(values, chance.choice(("G54", "G54", "G59")), player.sheet)
    typed = {axis: format_length(value, display) for axis, value in values.items()}
    data = {"typed": typed, "values_nm": values, "compared": compared}
    player.add({"type": "values.copied", "data": data})


def _label_now(player: RandomPlayer, chance: Random) -> None:
    player.add(_label(player, chance, player.steps[player.current or ""]))


def _ask_about_all(player: RandomPlayer, chance: Random) -> None:
    question = _question(player, chance, player.steps[player.current or ""])
    player.add({**question, "data": question["data"] | {"axis": None}})


def _decide(player: Player, chance: Random) -> None:
    """One decision about something that is there."""
    questions = [event["data"]["question"] for event in player.events if event["type"] == "question.put"]
    if questions and chance.random() < 0.6:
        data = {
            "question": chance.choice(questions),
            "axis": None,
            "decision": chance.choice(("go_on", "touch_again", "break_off")),
            "reason": "Because.",
        }
        data["decision"] = _in_turn(player, (data["decision"],) * 3 + ("redo",))
        player.decide({"decision": "question.answered", "data": data})
        return
    if _in_turn(player, (False, False, True)) and _worries(player):
        data = {"how": "checked", "reason": "It runs true."}
        player.decide(
            {"decision": "worry.closed", "data": data, "event_at": _in_turn(player, _worries(player))}
        )
    if chance.random() < 0.15 and player.events:
        _decide_lift(player, chance)
        return
    kind = chance.choice(
        (
            "signature.verified",
            "signature.refused",
            "setup.signed_off",
            "setup.not_accepted",
            "event.set_aside",
            "caution.not_found",
        )
    )
    if not player.events or (kind == "event.set_aside" and chance.random() < 0.8):
        return
    data = {
        "signature.verified": {"person": "mara", "key": "k"},
        "signature.refused": {
            "person": "mara",
            "reason": chance.choice(("wrong_pin", "throttled")),
            **chance.choice(({}, {"tries_left": 1})),
        },
        "setup.signed_off": {
            "meaning": "reviewed and accepted",
            "note": "",
            "reviewed": {"events": 3, "sha256": "0" * 64},
            **_in_turn(player, ({}, {"into_usual": ["X"]})),
        },
        "setup.not_accepted": {"reason": "No."},
        "event.set_aside": {"code": "intake.forked", "fields": {"sequence": 3}},
        "caution.not_found": {"caution": "stop", "read_event": "0" * 64},
    }[kind]
    by = chance.choice(("ines", "mara"))
    player.decide(
        {
            "decision": kind,
            "data": data,
            "event_at": chance.choice((-1, -1, 0, len(player.events) // 2)),
            "by": by,
        }
    )


def _in_turn(player: Player, values: Any) -> Any:
    """One of these by how far the setup is, so that a new choice draws nothing and moves no other case."""
    return values[len(player.events) % len(values)]


def _photo(player: Player) -> None:
    """Now and then a picture, mostly where one is offered, and what came of it; it draws nothing."""
    number = len(player.events)
    if number % 7 != 6:
        return
    offering = [step_id for step_id, step in player.steps.items() if step.get("photo")]
    where = {"step": _in_turn(player, offering)} if offering and number % 4 else {}
    sent = {"sha256": f"{number:064x}", "bytes": 1_000 + number, "width": 1280, "height": 960}
    player.add({"type": "photo.taken", "data": sent, **where})
    named = {"event_at": -1}
    if number % 3 == 0:
        data = {"sent_sha256": sent["sha256"], "sha256": "a" * 64, "bytes": 900, "width": 1280, "height": 960}
        player.decide({"decision": "photo.kept", "data": data, **named})
    elif number % 3 == 1:
        data = {"sent_sha256": sent["sha256"], "code": "picture.broken", "fields": {}}
        player.decide({"decision": "photo.refused", "data": data, **named})


def _name_beside(player: Player) -> None:
    """Now and then somebody named as standing beside, mostly where the sheet asks; it draws nothing."""
    asking = [step_id for step_id, step in player.steps.items() if step.get("there")]
    if not asking or len(player.events) % 5:
        return
    where = {"step": _in_turn(player, asking)} if len(player.events) % 3 == 0 else {}
    player.add({"type": "beside.named", "data": {"who": _in_turn(player, ("ines", *PEOPLE))}, **where})


def _worries(player: Player) -> list[int]:
    """The places of the events that raised a worry."""
    return [place for place, event in enumerate(player.events) if event["type"] == "worry.raised"]


def _worry(player: Player, drawn: int) -> Plain:
    """A worry of any kind: from an older tablet, or one that says what it is about, rightly or not."""
    worry = WORRIES[(drawn + len(player.events)) % len(WORRIES)]
    about = _in_turn(player, ("probe", "vise", "machine", None, "says nothing"))
    named = {} if about == "says nothing" else {"about": about}
    return {"type": "worry.raised", "data": {"worry": worry, "text": "", **named}}


def _board(_player: Player, chance: Random, _step: Plain) -> Plain:
    found = chance.choice(("clear", "probe_in_spindle", "something_else"))
    return {"type": "board.checked", "data": {"found": found, "text": "x"}}


def _done(_player: Player, chance: Random, step: Plain) -> Plain:
    answers = [choice["id"] for choice in step["choices"]] + ["done", "other"]
    return {"type": "step.done", "data": {"answer": chance.choice(answers)}}


def _ticks(_player: Player, chance: Random, step: Plain) -> Plain:
    ids = [check["id"] for check in step["checks"]] + ["other"]
    return {"type": "checks.ticked", "data": {"ticked": [one for one in ids if chance.random() < 0.8]}}


def _tool(_player: Player, chance: Random, _step: Plain) -> Plain:
    return {
        "type": "tool.read",
        "data": {"typed": chance.choice(TYPED_TOOLS), "matches": chance.random() < 0.5},
    }


def _slot(_player: Player, chance: Random, _step: Plain) -> Plain:
    data = {"typed": chance.choice(TYPED_SLOTS), "outcome": chance.choice(SLOT_OUTCOMES)}
    return {"type": "slot.read", "data": data}


def _values(player: Player, chance: Random, step: Plain) -> Plain:
    data = player.copied()
    for axis in "XYZ":
        if chance.random() < 0.4:
            data["typed"][axis] = random_typed(chance)
        if chance.random() < 0.1:
            data["values_nm"][axis] += chance.choice((0, 1, 1_000))
    if step["kind"] == "clear":
        del data["compared"]
        data["typed"] |= {axis: "0.000" for axis in "XYZ" if chance.random() < 0.8}
        return {"type": "slot.cleared", "data": data}
    return {"type": "values.copied", "data": data}


def _touch(player: Player, chance: Random, step: Plain) -> Plain:
    axis = step["axis"] or "X"
    line = player.touched(axis, chance.choice(OFFS_NM) * chance.choice((-1, 1)))
    data = line["data"]
    if chance.random() < 0.15:
        data["typed"] = random_typed(chance)
    if line["type"] == "trigger.read":
        data["surface_nm"] += chance.choice((0, 0, 0, 1_000))
        return line
    if chance.random() < 0.15:
        data["verdict"] = chance.choice(("agrees", "ask", "stop"))
    if chance.random() < 0.1:
        data["axis"] = chance.choice("XYZ")
    return {"type": "touch.entered", "data": data}


def _square(player: Player, chance: Random, step: Plain) -> Plain:
    """Two touches for a look for square: mostly where it is due, truthful but for a lie here and there."""
    axis = step["axis"] or "Y"
    data = player.square(axis, chance.choice(OFFS_NM) * chance.choice((-1, 1)))
    if chance.random() < 0.15:
        data["typed"] = [random_typed(chance), data["typed"][1]]
    for name, other in (
        ("apart_nm", 1),
        ("error_nm", 7),
        ("told", True),
        ("axis", "X"),
        ("values_nm", [0, 0]),
    ):
        if chance.random() < 0.06:
            data[name] = other
    return {"type": "square.entered", "data": data}


def _repeat(player: Player, chance: Random, step: Plain) -> Plain:
    kind = "touch.repeated" if len(player.events) % 3 else "chip.wiped"
    return {"type": kind, "data": {"axis": step["axis"] or chance.choice("XYZ")}}


def _keep(_player: Player, chance: Random, step: Plain) -> Plain:
    because = chance.choice(("agrees", "question", "lead", "repeat", "first"))
    return {"type": "touch.kept", "data": {"axis": step["axis"] or "X", "because": because}}


def _read_again(player: Player, chance: Random, step: Plain) -> Plain:
    """The last touch read again: mostly the same, sometimes what the usual says, sometimes anything."""
    axis = step["axis"] or "X"
    had = [event["data"] for event in player.events if event["type"] == "touch.entered"]
    last = next((data for data in reversed(had) if data["axis"] == axis), None)
    if last is not None and chance.random() < 0.5:
        return {"type": "touch.read_again", "data": dict(last)}
    data = player.touch(axis, chance.choice((0, 0, 1_000, *OFFS_NM)))
    if chance.random() < 0.1:
        data["typed"] = random_typed(chance)
    return {"type": "touch.read_again", "data": data}


def _lift(_player: Player, chance: Random, step: Plain) -> Plain:
    axis = chance.choice((step["axis"] or "X", step["axis"] or "X", "X", "Y"))
    lead = chance.choice(("ines", "ines", "ines", "mara"))
    data = {"axis": axis, "lead": lead, "decision": chance.choice(LIFTS), "reason": "Seen."}
    return {"type": "stop.lifted", "data": data}


def _label(_player: Player, chance: Random, _step: Plain) -> Plain:
    return {"type": "label.read", "data": {"typed": chance.choice((*TYPED_SLOTS, "G54", "G55"))}}


def _trouble(_player: Player, chance: Random, _step: Plain) -> Plain:
    trouble = chance.choice((*TROUBLES, "nothing_found", "nothing_found"))
    data = {"trouble": trouble, "touched": chance.random() < 0.3, "reset": chance.random() < 0.3}
    return {"type": "trouble.met", "data": data}


def _zero_again(player: Player, chance: Random, step: Plain) -> Plain:
    data = _values(player, chance, step | {"kind": "clear"})["data"]
    return {"type": "slot.zeroed", "data": {"label": chance.choice(("G54", "G54", "G55", "x")), **data}}


def _put_back(player: Player, chance: Random, _step: Plain) -> Plain:
    """Another's row set to what was copied down; sometimes to something else."""
    had = [event["data"] for event in player.events if event["type"] == "values.copied"]
    data = dict(had[-1]) if had and chance.random() < 0.8 else player.copied()
    row = {"label": chance.choice(("G55", "G55", "G54", "G99")), "lead": chance.choice(("ines", "mara"))}
    return {
        "type": "row.put_back",
        "data": {"typed": data["typed"], "values_nm": data["values_nm"], **row},
    }


def _leave(_player: Player, chance: Random, step: Plain) -> Plain:
    return chance.choice((
        {"type": "setup.left"},
        {"type": "setup.left_unsigned"},
        {"type": "setup.handed_over", "data": {"to": chance.choice(PEOPLE)}},
        deepcopy(TAKEN_OVER),
        {"type": "axis.given_up", "data": {"axis": step["axis"] or chance.choice("XYZ")}},
    ))  # fmt: skip


def _question(player: Player, chance: Random, step: Plain) -> Plain:
    number = chance.choice((len(player.events), len(player.events), 1))
    data = {
        "question": f"9b2f8c1e-0000-4000-8000-{number:012x}",
        "axis": chance.choice((step["axis"], step["axis"], None, "X", "Y", "Z")),
        "text": "Why?",
    }
    return {"type": "question.put", "data": data}


def _note(player: Player, chance: Random, _step: Plain) -> Plain:
    return chance.choice((
        {"type": "hold.pressed"},
        {"type": "input.aged"},
        _worry(player, chance.choice(range(5))),
        {"type": "setup.resumed", "data": {"away_ms": chance.randrange(10**7)}},
        {"type": "setup.started", "data": {"machine": "mill-1", "display": "browser"}},
    ))  # fmt: skip


def _reopen(player: Player, chance: Random, _step: Plain) -> Plain:
    return {
        "type": "step.reopened",
        "data": {"reopened": chance.choice(list(player.steps)), "reason": "mistyped"},
    }


def _break(_player: Player, chance: Random, _step: Plain) -> Plain:
    return chance.choice((
        {"type": "setup.broken_off"},
        {"type": "break.undone"},
        {"type": "break.explained", "data": {"reason": chance.choice(BREAK_REASONS), "text": "x"}},
        {"type": "setup.finished", "data": {"outcome": chance.choice(("complete", "broken_off"))}},
        {"type": "setup.signed", "data": {"meaning": "performed"}},
        {"type": "caution.read", "data": {"caution": chance.choice(("machine", "stop"))}},
    ))  # fmt: skip


ODD = (
    _board,
    _done,
    _ticks,
    _tool,
    _slot,
    _values,
    _values,
    _touch,
    _touch,
    _touch,
    _touch,
    _repeat,
    _repeat,
    _keep,
    _keep,
    _question,
    _question,
    _note,
    _reopen,
    _break,
    _read_again,
    _lift,
    _label,
    _trouble,
    _zero_again,
    _put_back,
    _leave,
)


def random_typed(chance: Random) -> str:
    """Something typed into a field for lengths: mostly a number, sometimes nearly one, sometimes none."""
    if chance.random() < 0.4:
        return "".join(chance.choice(CHARACTERS) for _ in range(chance.randrange(0, 9)))
    sign = chance.choice(("", "+", "-", "\u2212"))
    whole = str(chance.randrange(10 ** chance.randrange(1, 9)))
    if chance.random() < 0.2:
        whole = "0" * chance.randrange(1, 4) + whole
    decimals = "".join(chance.choice("0123456789") for _ in range(chance.randrange(0, 6)))
    typed = sign + whole + (chance.choice(".,") + decimals if decimals or chance.random() < 0.2 else "")
    return chance.choice(("", " ", "\t")) + typed + chance.choice(("", " "))


def random_length_case(seed: int) -> Plain:
    """One typed text with a display and limits, or one value to show and to compare."""
    chance = Random(seed)
    unit = chance.choice(("mm", "in"))
    display = {"unit": unit, "decimals": chance.randrange(0, 7 if unit == "mm" else 6)}
    low = -chance.randrange(0, 10 ** chance.randrange(1, 13))
    value = chance.randrange(-(10 ** chance.randrange(1, 13)), 10 ** chance.randrange(1, 13))
    centre = value + chance.choice((0, 1, -1)) * chance.randrange(0, 200_000)
    ask = chance.randrange(0, 100_000)
    known = chance.random() < 0.9
    return {
        "typed": random_typed(chance),
        "display": display,
        "low_nm": low,
        "high_nm": chance.choice((0, -low, low + chance.randrange(0, 10**9))),
        "value_nm": value,
        "usual": {
            "centre_nm": centre if known else None,
            "ask_nm": ask if known else None,
            "stop_nm": ask + chance.randrange(0, 50_000) if known else None,
        },
        "before_nm": value + chance.randrange(-150_000, 150_000),
        "tools": [chance.choice(TYPED_TOOLS), chance.choice(("30", "1", "030"))],
        "slot": chance.choice(TYPED_SLOTS) + chance.choice(("", "", " ", "\u2009", "0")),
        "person": chance.choice(PEOPLE),
        "at_utc": chance.choice(
            ("2026-10-31T23:59:59.999Z", "2026-11-01T00:00:00.000Z", "2028-01-01T00:00:00.000Z")
        ),
        "confirm_limit_nm": chance.choice((None, 0, abs(value), 2_540_000)),
    }
