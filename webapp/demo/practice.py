"""The practice mill as a page of the demo: a bench notebook that says what a control would show.

It looks like no control's screen on purpose: a sheet of ruled paper, whole sentences, plain forms that work
without JavaScript, by keyboard and by touch. Everything a person could do at the real machine in this job is
one form; so is everything that can be wrong there. A mill's control is what the shop says of the machine
today: whether a touch goes into the row by itself, at a key or by hand, and what a cleared row holds.
"""

from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import urlencode

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from webapp.demo.mill import AXES, SimulatedMill
from webapp.demo.practice_deeds import DEEDS, FAULTS, Form
from webapp.demo.practice_deeds import Deed as Doing
from webapp.demo.practice_shop import Deed, PracticeMill, PracticeShop
from webapp.demo.practice_sights import air, sights
from webapp.demo.scenario import rebuild
from webapp.demo.starting import practice_shop
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.lengths import Display, Unit, format_length
from webapp.domain.shop.shop import Machine
from webapp.domain.touch.feeds import format_feed
from webapp.services.sheets.fitted_machines import fitted_machine
from webapp.store import Store
from webapp.web.edge.rights import EVERYONE
from webapp.words import say

RIGHTS = dict.fromkeys(("practice.mills", "practice.mill", "practice.act"), EVERYONE)
STEPS = {Unit.MM: ("10", "1", "0.1", "0.01"), Unit.INCH: ("0.5", "0.1", "0.01", "0.001")}
# What a person chose at the wheel stays chosen on the next page.
KEPT = ("axis", "step", "clicks", "range", "feed", "slot")


def pages(folder: Path, now: datetime, store: Store) -> Blueprint:
    """The practice pages of the demo shop in this data folder, the vises where they stand at that time."""
    loaded, shop = practice_shop(folder, now)
    return _pages(shop, {machine.id: machine.name for machine in loaded.machines}, store)


def _pages(shop: PracticeShop, names: dict[str, str], store: Store) -> Blueprint:
    def machine_now(machine_id: str) -> Machine:
        """The machine as the shop has it; its mill is made so."""
        practice = shop.mills.get(machine_id) or abort(404)
        with store.reading():
            _, machine, _, probe = fitted_machine(store, machine_id)
        rebuild(practice.mill, machine, probe)
        return machine

    pages = Blueprint("practice", __name__, url_prefix="/practice")

    @pages.get("/")
    def mills() -> str:
        return render_template("practice/mills.html", names=names)

    @pages.get("/<machine_id>")
    def mill(machine_id: str) -> str:
        machine = machine_now(machine_id)
        return render_template("practice/mill.html", **_shown(shop.mills[machine_id], machine))

    @pages.post("/<machine_id>")
    def act(machine_id: str) -> Response:
        display = machine_now(machine_id).display
        action = request.form.get("action", "")
        doing = DEEDS.get(action) or abort(400)
        try:
            shop.act(machine_id, lambda practice: _deed(practice, display, doing))
        except DomainError as error:
            flash(say(error.code, error.fields))
        kept = {name: request.form[name] for name in KEPT if request.form.get(name)}
        page = url_for("practice.mill", machine_id=machine_id)
        return redirect(f"{page}?{urlencode(kept)}#do-{action}", code=303)

    return pages


def _deed(practice: PracticeMill, display: Display, doing: Doing) -> Deed:
    done = doing(practice, Form(request.form, display))
    return Deed(datetime.now(UTC).strftime("%H:%M:%S"), done, _line(practice.mill, display))


def _line(mill: SimulatedMill, display: Display) -> str:
    values = "  ".join(f"{axis} {text}" for axis, text in _lengths(mill.shown_nm(), display).items())
    return f"tool {mill.spindle_tool} · {mill.selected_slot}: {values}"


def _lengths(values_nm: dict[str, int], display: Display) -> dict[str, str]:
    return {axis: format_length(value, display) for axis, value in values_nm.items()}


def _shown(practice: PracticeMill, machine: Machine) -> dict[str, object]:
    """All that the page says."""
    mill, display = practice.mill, machine.display
    return {
        "axes": AXES,
        "machine_id": machine.id,
        "name": machine.name,
        "mill": mill,
        "shown": _lengths(mill.shown_nm(), display),
        "page": _lengths(mill.page_nm(), display),
        "rows": {label: _lengths(values, display) for label, values in mill.slots_nm.items()},
        "unit": display.unit.value,
        "seen": _seen(mill) | {"answered": _answered(mill, display)},
        "parked": _parked(mill, display),
        "air": air(mill, display),
        "sights": sights(mill),
        "steps": STEPS[display.unit],
        "feed": format_feed(machine.first_feed_mm_per_min, display).split()[0],
        "range": "4.5" if display.unit is Unit.MM else "0.18",
        "faults": {name: say(f"practice.fault_{name}") for name in FAULTS},
        "planted": practice.faults,
        "drops": [say(f"practice.drops_{name}") for name in sorted(mill.build.reset_drops)],
        "minutes_awake": None if mill.build.sleeps_after_s is None else mill.build.sleeps_after_s // 60,
        "deeds": practice.deeds,
        "kept": request.args,
    }


def _answered(mill: SimulatedMill, display: Display) -> str:
    """What the control keeps of the last touch where it does not write the row by itself, else empty."""
    kept, written = mill.state.answered, mill.build.slot_written
    if kept is None or written == "cycle":
        return ""
    value_nm = kept.page_nm if written == "by_hand" else kept.surface_nm
    return say(f"practice.answered_{written}", {"axis": kept.axis, "value": format_length(value_nm, display)})


def _parked(mill: SimulatedMill, display: Display) -> str:
    """What Z of a cleared row holds here where that is not zero."""
    value_nm = mill.build.parked_nm["Z"]
    return format_length(value_nm, display) if value_nm else ""


def _seen(mill: SimulatedMill) -> dict[str, str]:
    """Lamp, input, alarm and home in words; "alarm" and "lean" are empty where there is none."""
    state = mill.state
    crash = mill.crashes[-1] if mill.crashes and state.alarm == "crash" else None
    hit = {"part": crash.part, "on": crash.on} if crash else {}
    return {
        "lamp": say(f"practice.lamp_{mill.lamp}"),
        "input": say("practice.input_touch" if mill.input_seen(nudged=False) else "practice.input_none"),
        "home": say("practice.home" if state.homed else "practice.home_lost"),
        "z": say(f"practice.z_{mill.build.z_reads}"),
        "alarm": say(f"practice.alarm_{state.alarm}", hit) if state.alarm else "",
        "held": say("practice.held") if state.held else "",
        "lean": say("practice.lean", {"on": state.lean.on, "axis": state.lean.axis}) if state.lean else "",
    }
