"""The practice mill as a page of the demo: a bench notebook that says what a control would show.

It looks like no control's screen on purpose: a sheet of ruled paper, whole sentences, plain forms that work without
JavaScript. Everything a person could do at the real control in this job is one form; so is every mistake.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from webapp.demo.mill import AXES, Mistake, SimulatedMill
from webapp.demo.practice_shop import Deed, PracticeMill, PracticeShop
from webapp.demo.starting import practice_shop
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import Display, format_length
from webapp.web.edge.rights import EVERYONE
from webapp.words import say

LONGEST_TYPED = 12


class NoToolTypedError(DomainError):
    """No tool number was typed."""

    code = "practice.no_tool"


RIGHTS = dict.fromkeys(("practice.mills", "practice.mill", "practice.act"), EVERYONE)


def pages(folder: Path, now: datetime) -> Blueprint:
    """The practice pages of the demo shop in this data folder, the vises where they stand at that time."""
    loaded, shop = practice_shop(folder, now)
    displays = {machine.id: machine.display for machine in loaded.machines}
    return _pages(shop, displays, {machine.id: machine.name for machine in loaded.machines})


def _pages(shop: PracticeShop, displays: dict[str, Display], names: dict[str, str]) -> Blueprint:
    pages = Blueprint("practice", __name__, url_prefix="/practice")

    @pages.get("/")
    def mills() -> str:
        return render_template("practice/mills.html", names=names)

    @pages.get("/<machine_id>")
    def mill(machine_id: str) -> str:
        practice = shop.mills.get(machine_id) or abort(404)
        return render_template(
            "practice/mill.html",
            axes=AXES,
            machine_id=machine_id,
            name=names[machine_id],
            mill=practice.mill,
            shown=_shown(practice.mill, displays[machine_id]),
            unit=displays[machine_id].unit.value,
            deeds=practice.deeds,
        )

    @pages.post("/<machine_id>")
    def act(machine_id: str) -> Response:
        if machine_id not in shop.mills:
            abort(404)
        action = ACTIONS.get(request.form.get("action", "")) or abort(400)
        display = displays[machine_id]
        try:
            shop.act(machine_id, lambda practice: action(practice, display))
        except DomainError as error:
            flash(say(error.code, error.fields))
        return redirect(url_for("practice.mill", machine_id=machine_id), code=303)

    return pages


def _shown(mill: SimulatedMill, display: Display) -> dict[str, str]:
    return {axis: format_length(value, display) for axis, value in mill.shown_nm().items()}


def _typed(name: str) -> str:
    return request.form.get(name, "").strip()[:LONGEST_TYPED]


def _deed(practice: PracticeMill, display: Display, done: str) -> Deed:
    mill = practice.mill
    values = "  ".join(f"{axis} {text}" for axis, text in _shown(mill, display).items())
    shown = f"tool {mill.spindle_tool} · {mill.selected_slot}: {values}"
    return Deed(datetime.now(UTC).strftime("%H:%M:%S"), done, shown)


def _call_tool(practice: PracticeMill, display: Display) -> Deed:
    tool = _typed("tool")
    if not tool:
        raise NoToolTypedError
    practice.mill.call_tool(tool)
    return _deed(practice, display, f"Tool {tool} called")


def _select_slot(practice: PracticeMill, display: Display) -> Deed:
    label = _typed("slot").upper()
    practice.mill.select_slot(label)
    return _deed(practice, display, f"Slot {label} selected")


def _clear(practice: PracticeMill, display: Display) -> Deed:
    practice.mill.clear_selected()
    return _deed(practice, display, "All three values cleared")


def _touch(practice: PracticeMill, display: Display) -> Deed:
    axis = _typed("axis")
    if axis not in AXES:
        abort(400)
    mistake = Mistake(
        moving_jaw=_typed("jaw") == "moving",
        ball_left_out="ball_left_out" in request.form,
        chip_nm=400_000 if "chip" in request.form else 0,
    )
    practice.mill.touch(axis, mistake)
    practice.touches += 1
    return _deed(practice, display, f"{axis} touched")


ACTIONS: dict[str, Callable[[PracticeMill, Display], Deed]] = {
    "tool": _call_tool,
    "slot": _select_slot,
    "clear": _clear,
    "touch": _touch,
}
