"""What a record says beside its touches: looks for square, the probe's check, and steps that were done fast.

Rules of this module:
- An angle comes in words with its uncertainty, whether it can be told from none or not.
- A step that was done fast stands there with its time beside the shop's; nothing is said about why.
- Where the ball was to stand comes with the point that it is said of: the spindle line in X and Y;
  in Z the ball's centre or underside, or the spindle's gauge line, as the control counts.
- A record from before these numbers were kept has none of them, and says nothing.
"""

from __future__ import annotations

from webapp.domain.evidence.written_sheet import AxisOnSheet
from webapp.domain.plain.errors import Fields, Finding
from webapp.domain.plain.lengths import Display, format_length
from webapp.domain.record.bundle import RecordFile
from webapp.domain.record.rows import PaceRow, SquareRow
from webapp.domain.record.story import Story
from webapp.domain.touch.compare import display_of
from webapp.domain.touch.jaw_square import jaw_angle, say_angle


def squares(story: Story) -> tuple[SquareRow, ...]:
    """Return every look for square that stands."""
    plan = story.sheet.get("square")
    if plan is None:
        return ()
    display = display_of(story.sheet["machine"])
    rows = []
    for square in story.state["squares"]:
        if square["stands"]:
            places, readings = (0, square["apart_nm"]), (square["values_nm"][0], square["values_nm"][1])
            angle = jaw_angle(places, readings, plan["u_touch_nm"], plan["jaw_length_nm"], display)
            apart = f"{format_length(square['apart_nm'], display, sign=False)} {display.unit.value}"
            typed = (square["typed"][0], square["typed"][1])
            at = story.clock(square["at_utc"])
            rows.append(SquareRow(square["axis"], at, typed, apart, say_angle(angle, display)))
    return tuple(rows)


def authorised(story: Story) -> Finding:
    """Return until when the operator was authorised on the machine,
    as the sheet had it when the setup began.
    """
    person = next((one for one in story.sheet["people"] if one["id"] == story.state["person"]), None)
    if person is None:
        return Finding("record.authorised_not")
    until = person["until_utc"]
    return (
        Finding("record.authorised")
        if until is None
        else Finding("record.authorised_until", {"day": until[:10]})
    )


def probe_check(story: Story) -> Finding | None:
    """Return what is to be said of the probe's check: when the last one was, and whether it was overdue."""
    probe, started = story.sheet["probe"], story.state["started_at_utc"]
    check, last = probe.get("check"), probe.get("checked_at_utc")
    due = None if check is None else check["due_at_utc"]
    if check is not None and started is not None:
        if due is None:
            return Finding("record.probe_never_checked")
        if check["overdue"] or started >= due:
            return Finding("record.probe_check_overdue", {"day": due[:10]})
    return None if last is None else Finding("record.probe_checked", {"day": last[:10]})


def planned_search(axis: AxisOnSheet, display: Display) -> Finding | None:
    """Return how the search of this axis was planned,
    None where nothing is known of the point that is meant.
    """
    approach = axis["approach"]
    above = None if approach is None else approach.get("stand_above_ball_nm")
    if approach is None or above is None:
        return None
    low_nm, high_nm = approach["stand_low_nm"], approach["stand_high_nm"]
    if low_nm is None or high_nm is None:
        return None
    point = "spindle" if axis["axis"] != "Z" else _point_on_z(above)
    fields: Fields = {
        "axis": axis["axis"],
        "low": format_length(low_nm, display),
        "high": format_length(high_nm, display),
        "range": format_length(approach["range_nm"], display, sign=False),
        "first": approach["first_feed_text"].split()[0],
        "second": approach["fine_feed_text"],
        "unit": display.unit.value,
    }
    if point == "gauge_line":
        fields["above"] = format_length(above, display, sign=False)
    return Finding(f"record.planned_{point}", fields)


def _point_on_z(above_nm: int) -> str:
    """Return which point a reading of Z is of, that far above the ball's centre."""
    if above_nm == 0:
        return "ball"
    return "gauge_line" if above_nm > 0 else "underside"


def pace(record: RecordFile) -> Finding | None:
    """Return the sentence about steps that were done fast, None where there are none."""
    steps = record.get("step_pace") or []
    marked = sum(step["is_marked"] for step in steps)
    return Finding("pace.marked", {"marked": marked, "steps": len(steps)}) if marked else None


def fast(record: RecordFile, story: Story) -> tuple[PaceRow, ...]:
    """Return the steps that were done fast, each with its time beside the shop's."""
    return tuple(
        PaceRow(
            story.do(step["step"]),
            _seconds(step["milliseconds"]),
            _seconds(step["shop_middle_ms"]),
            _seconds(step["reading_ms"]),
        )
        for step in record.get("step_pace") or []
        if step["is_marked"]
    )


def _seconds(milliseconds: int | None) -> str:
    return "–" if milliseconds is None else f"{milliseconds / 1000:.1f}"
