"""What happened on the way, in order of time:
holds, questions, worries, corrections, skipped steps, problems.

Rules of this module:
- A hold is a fact, in the same words for everybody; it is never judged.
- An answer that did not close its step is kept and shown: it is part of how the setup went.
- What a person wrote stays as it was written.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from webapp.domain.evidence.chain import forks
from webapp.domain.evidence.folded_setup import Correction, Folded, Photo, Question
from webapp.domain.evidence.for_whom import stages_for
from webapp.domain.evidence.planned_steps import planned_steps, stage_of
from webapp.domain.evidence.written_sheet import AxisOnSheet, StepOnSheet, WrittenSheet
from webapp.domain.plain.errors import Fields, Finding
from webapp.domain.plain.lengths import format_length
from webapp.domain.record.bundle import PersonInRecord
from webapp.domain.setup.remarks import say_remark
from webapp.domain.setup.state import AnyEvent
from webapp.domain.touch.compare import display_of, is_parked, not_cleared

ANSWERING = frozenset({
    "board.checked", "step.done", "checks.ticked", "tool.read", "slot.read", "slot.cleared",
})  # fmt: skip
SLOT_MARK = "{slot}"
MS_PER_MINUTE = 60_000
SHORT_ID = 12


@dataclass(frozen=True)
class Happening:
    """One line of the story: when, in which stage, what, and the person's own words."""

    at: str
    where: str
    what: Finding
    text: str


@dataclass(frozen=True)
class Story:
    """The sheet, the events by id, and the folded state, with the look-ups that a page needs."""

    sheet: WrittenSheet
    events: Mapping[str, AnyEvent]
    state: Folded
    people: Mapping[str, PersonInRecord]

    @property
    def steps(self) -> dict[str, StepOnSheet]:
        """Return every step of the sheet that stood for the operator, by id, in order."""
        return planned_steps(self.sheet, self.state["person"])

    def axis(self, axis: str) -> AxisOnSheet:
        """Return what the sheet says of this axis."""
        return next(one for one in self.sheet["axes"] if one["axis"] == axis)

    def name_of(self, person: str | None) -> str:
        """Return the person's full name, the identifier where the record does not list them."""
        listed = self.people.get(person or "")
        return str(person) if listed is None else listed["name"]

    def clock(self, at_utc: str) -> str:
        """Return the time to the second, with the date where it is another than the day the setup started."""
        started = self.state["started_at_utc"] or ""
        return at_utc[11:19] if at_utc[:10] == started[:10] else f"{at_utc[:10]} {at_utc[11:19]}"

    def time_of_type(self, kind: str) -> str | None:
        """Return the time of the last event of this type, None without one."""
        times = [event["at_utc"] for event in self.events.values() if event["type"] == kind]
        return times[-1] if times else None

    def stage_title(self, step_id: str | None) -> str:
        """Return the title of the step's stage; empty without a step."""
        stage = stage_of(self.sheet, step_id)
        return "" if stage is None else stage["title"]

    def do(self, step_id: str | None) -> str:
        """Return what the step says to do, with the operator's slot put in; empty without a step."""
        if step_id is None or step_id not in self.steps:
            return ""
        return str(self.steps[step_id]["do"]).replace(SLOT_MARK, self.state["slot"] or "–")

    def answer(self, event: AnyEvent) -> Finding:
        """Return what was answered in this event, as words or as typed."""
        data, kind = event["data"], event["type"]
        if kind == "board.checked":
            return Finding(f"record.board_{data['found']}")
        if kind in {"tool.read", "slot.read"}:
            return Finding("record.read_as", {"typed": data["typed"]})
        if kind in {"slot.cleared", "slot.zeroed"}:
            return Finding(
                "record.cleared_as", {axis.lower(): data["typed"][axis] for axis in ("X", "Y", "Z")}
            )
        if kind == "checks.ticked":
            checks = self.steps[event["step"] or ""].get("checks", [])
            return Finding("record.ticked", {"count": len(data["ticked"]), "of": len(checks)})
        choices = {choice["id"]: choice["label"] for choice in self.steps[event["step"] or ""]["choices"]}
        return Finding("record.chosen", {"label": choices.get(data["answer"], data["answer"])})

    def open_answer(self, event: AnyEvent) -> Finding:
        """Return the words for an answer that left its step open."""
        answer = self.answer(event)
        if event["type"] == "board.checked":
            return answer
        if event["type"] == "slot.cleared" and is_parked(self.sheet):
            return Finding("record.open_slot_not_parked", answer.fields)
        return Finding(f"record.open_{event['type'].replace('.', '_')}", answer.fields)


def happenings(story: Story) -> tuple[Happening, ...]:
    """Return the story's lines in order of time; lines of one moment stay in the order of their kinds."""
    state = story.state
    found = [
        *((one["at_utc"], one["step"], Finding("record.hold"), "") for one in state["holds"]),
        *(
            (one["at_utc"], one["step"], Finding(f"record.worry_{one['worry']}"), one["text"])
            for one in state["worries"]
        ),
        *(line for question in state["questions"] for line in _question(question, story)),
        *(_correction(one) for one in state["corrections"]),
        *((one["at_utc"], one["step"], _away(one["away_ms"]), "") for one in state["resumes"]),
        *_triggers(story),
        *_troubles(story),
        *map(_photo, story.state["photos"]),
        *_beside(story),
        *_remarks(story),
        *_answers_that_kept_open(story),
        *_break(story),
        *_not_accepted(story),
        *_forks(story),
        *_problems(story),
    ]
    ordered = sorted(found, key=lambda line: line[0])
    return tuple(
        Happening(story.clock(at), story.stage_title(step), what, text) for at, step, what, text in ordered
    )


Line = tuple[str, str | None, Finding, str]


def _triggers(story: Story) -> list[Line]:
    """Where the probe answered, and the surface that was then entered by hand."""
    display = display_of(story.sheet["machine"])
    return [
        (
            one["at_utc"],
            story.events[one["event"]]["step"],
            Finding(
                "record.trigger",
                {
                    "axis": one["axis"],
                    "typed": one["typed"],
                    "surface": format_length(one["surface_nm"], display),
                    "unit": display.unit.value,
                },
            ),
            "",
        )
        for one in story.state["triggers"]
    ]


def _troubles(story: Story) -> list[Line]:
    """What happened during moves, and stops that the lead lifted at the tablet."""
    met: list[Line] = [
        (one["at_utc"], one["step"], Finding(f"record.trouble_{one['trouble']}"), "")
        for one in story.state["troubles"]
    ]
    for lift in story.state["lifts"]:
        fields: Fields = {"name": story.name_of(lift["lead"]), "axis": lift["axis"]}
        said = Finding(f"record.lift_{lift['state']}", fields)
        met.append((lift["at_utc"], story.events[lift["event"]]["step"], said, lift["reason"]))
    return met


def _photo(photo: Photo) -> Line:
    """A picture by its hash, and what came of its file as far as the record's decisions say."""
    fields: Fields = {"shows": photo["shows"], "bytes": photo["bytes"], "sha256": photo["sha256"]}
    picture = photo["picture"]
    if picture is None:
        said = Finding("record.photo", fields)
    elif picture["code"] is not None:
        said = Finding("record.photo_refused", {**fields, "why_code": picture["code"]})
    else:
        said = Finding("record.photo_kept", {**fields, "kept": picture["sha256"] or ""})
    return (photo["at_utc"], photo["step"], said, "")


def _beside(story: Story) -> list[Line]:
    """Who stood beside at which step, as the operator said."""
    return [
        (
            one["at_utc"],
            one["step"],
            Finding("record.beside", {"name": story.name_of(one["who"]), "do": story.do(one["step"])}),
            "",
        )
        for one in story.state["beside"]
    ]


def _remarks(story: Story) -> list[Line]:
    display = display_of(story.sheet["machine"])
    return [
        (
            one["at_utc"],
            story.events[one["event"]]["step"],
            say_remark(one, display, story.name_of),
            "",
        )
        for one in story.state["remarks"]
    ]


def _question(question: Question, story: Story) -> list[Line]:
    event = story.events[question["event"]]
    fields: Fields = {} if question["axis"] is None else {"axis": question["axis"]}
    asked = "record.question_axis" if fields else "record.question"
    lines: list[Line] = [(question["at_utc"], event["step"], Finding(asked, fields), question["text"])]
    answer = question["answer"]
    if answer is None:
        lines.append((question["at_utc"], event["step"], Finding("record.question_open"), ""))
    else:
        about = "_axis" if fields else ""
        said = Finding(
            f"record.answer_{answer['decision']}{about}", {"name": story.name_of(answer["by"]), **fields}
        )
        lines.append((answer["at_utc"], event["step"], said, answer["reason"]))
    return lines


def _correction(correction: Correction) -> Line:
    said = Finding(f"record.correction_{correction['kind']}")
    return (correction["at_utc"], correction["step"], said, correction["reason"])


def _away(away_ms: int) -> Finding:
    minutes = (away_ms + MS_PER_MINUTE // 2) // MS_PER_MINUTE
    return Finding("record.resumed_minutes", {"minutes": minutes}) if minutes else Finding("record.resumed")


def _answers_that_kept_open(story: Story) -> list[Line]:
    aside = {problem["event"] for problem in story.state["problems"]}
    return [
        (event["at_utc"], event["step"], story.open_answer(event), event["data"].get("text", ""))
        for event in story.events.values()
        if event["type"] in ANSWERING and event["id"] not in aside and not _closes(event, story)
    ]


def _closes(event: AnyEvent, story: Story) -> bool:
    """Tell whether this answer is one that closes its step. Where it lies, the fold has made it a problem."""
    data = event["data"]
    if event["type"] == "step.done":
        return all(
            choice["closes"]
            for choice in story.steps[event["step"] or ""]["choices"]
            if choice["id"] == data["answer"]
        )
    if event["type"] == "checks.ticked":
        return {check["id"] for check in story.steps[event["step"] or ""].get("checks", [])} <= set(
            data["ticked"]
        )
    if event["type"] == "board.checked":
        return bool(data["found"] == "clear")
    if event["type"] == "tool.read":
        return bool(data["matches"])
    if event["type"] == "slot.read":
        return bool(data["outcome"] == "own")
    return not_cleared(data["values_nm"], story.sheet) is None


def _break(story: Story) -> list[Line]:
    broken = story.state["broken_off"]
    if broken is None:
        return []
    reason = broken["reason"] or "not_said"
    lines: list[Line] = [
        (broken["at_utc"], broken["step"], Finding(f"record.broken_off_{reason}"), broken["text"] or "")
    ]
    for stage in stages_for(story.sheet, story.state["person"]):
        skipped = [step for step in stage["steps"] if story.state["steps"][step["id"]]["state"] == "skipped"]
        if skipped:
            fields: Fields = {"stage": stage["title"], "count": len(skipped), "of": len(stage["steps"])}
            lines.append((broken["at_utc"], None, Finding("record.skipped", fields), ""))
    return lines


def _not_accepted(story: Story) -> list[Line]:
    refused = story.state["not_accepted"]
    if refused is None:
        return []
    said = Finding("record.not_accepted", {"name": story.name_of(refused["by"])})
    return [(refused["at_utc"], None, said, refused["reason"])]


def _forks(story: Story) -> list[Line]:
    """A tablet that wrote two events with one number: said where the first of them stands, with both ids."""
    return [
        (
            story.events[fork.events[0]]["at_utc"],
            story.events[fork.events[0]]["step"],
            Finding(
                "record.forked",
                {"sequence": fork.sequence, "events": ", ".join(one[:SHORT_ID] for one in fork.events)},
            ),
            "",
        )
        for fork in forks(story.events.values())
    ]


def _problems(story: Story) -> list[Line]:
    lines: list[Line] = []
    for problem in story.state["problems"]:
        event = story.events.get(problem["event"] or "")
        at_utc = story.state["started_at_utc"] or "" if event is None else event["at_utc"]
        lines.append(
            (
                at_utc,
                None if event is None else event["step"],
                Finding(problem["code"], problem["fields"]),
                "",
            )
        )
    return lines
