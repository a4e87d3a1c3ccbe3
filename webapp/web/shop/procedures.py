"""Procedures at the desk: read one, change a draft of it step by step, look at it as a tablet shows it,
publish it.

Rules: every press is a form of its own and needs no script; each carries the fingerprint of the draft that
its page showed, and what somebody else changed meanwhile is not written over: the words that were typed come
back beside the draft of now.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.evidence.planned_steps import planned_steps
from webapp.domain.plain.errors import DomainError
from webapp.domain.plain.levels import ALONE
from webapp.domain.procedure import editing
from webapp.domain.procedure.editing import NoSuchStepError
from webapp.domain.procedure.plainness import marks, marks_of
from webapp.domain.procedure.procedure import Procedure
from webapp.domain.procedure.profile import CONDITIONS
from webapp.domain.procedure.rules import KINDS, SIGNALS, STAGES, faults
from webapp.domain.procedure.standing import ALWAYS_STANDS
from webapp.services.errors import NoDraft, ProcedureFallsShort
from webapp.services.sheets import previewing
from webapp.services.shop import drafts_behind, procedures, publishing, reading, retiring
from webapp.web.desk import forms
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.shop.procedure_forms import (
    HELP,
    IS_THERE,
    LABELS,
    SPARE_ROWS,
    STANDS_FOR,
    must_fit,
    read_step,
    typed_words,
)
from webapp.web.show import rendering
from webapp.web.show.naming import names
from webapp.web.show.shown_values import plain, with_reasons

blueprint = Blueprint("procedures", __name__)
# Glasses on which a step is looked at: what each is called, how wide and high it is, in CSS pixels.
GLASSES = {
    "tablet": ("tablet, upright", 768, 1024),
    "lying": ("tablet, lying", 1280, 800),
    "phone": ("phone", 390, 844),
}


@blueprint.get("/desk/procedures")
def overview() -> str:
    """What each fixture is worked by, drafts, and what was published."""
    parts = wiring()
    return render_template(
        "desk/procedures/overview.html",
        used=procedures.overview(parts.store),
        past=procedures.past_revisions(parts.store),
        fixtures=reading.names_of_fixtures(parts.store),
        names=names(),
    )


@blueprint.post("/desk/procedures/<whose>/draft")
@once
def begin(whose: str) -> Response:
    """Begin a draft, or open the one that is there."""
    procedures.begin(wiring().store, whose, sessions.signed_in().id, wiring().now())
    return _to(whose)


@blueprint.get("/desk/procedures/<whose>")
def procedure(whose: str) -> Response:
    """The draft with what stands in its way, or what is in use where there is no draft."""
    return _procedure_page(whose, forms.Publish(formdata=None))


@blueprint.post("/desk/procedures/<whose>/act")
@once
def act(whose: str) -> Response:
    """Move, add or take out a step or a stage of the draft."""
    return _changed(whose, _act(request.form), lambda: _to(whose, anchor=request.form.get("at", "")))


def _act(typed: Mapping[str, str]) -> Callable[[Procedure], Procedure]:
    """What a press of the draft's page does."""
    step, stage = typed.get("step", ""), typed.get("stage", "")
    acts: dict[str, Callable[[Procedure], Procedure]] = {
        "up": lambda one: editing.moved_step(one, step, -1),
        "down": lambda one: editing.moved_step(one, step, 1),
        "out": lambda one: editing.without_step(one, step),
        "stage_up": lambda one: editing.moved_stage(one, stage, -1),
        "stage_down": lambda one: editing.moved_stage(one, stage, 1),
        "add": lambda one: editing.with_new_step(
            one, stage, typed.get("name", "").strip(), typed.get("kind", "")
        ),
    }
    return acts.get(typed.get("act", ""), lambda one: one)


@blueprint.route("/desk/procedures/<whose>/steps/<step_id>", methods=["GET", "POST"])
@once
def step(whose: str, step_id: str) -> Response:
    """One step of the draft as a form."""
    parts, problem = wiring(), None
    try:
        draft = procedures.draft(parts.store, whose)
        now = editing.step_of(draft.procedure, step_id)
    except (NoDraft, NoSuchStepError) as refusal:
        if request.method == "GET":
            raise
        return _gone(refusal)
    shown = now
    if request.method == "POST":
        try:
            shown = typed = read_step(request.form, now)
            must_fit(request.form)
            who, seen = sessions.signed_in().id, request.form.get("seen", "")
            procedures.edit(
                parts.store, whose, seen, lambda one: editing.with_step(one, typed), who, parts.now()
            )
            return _to(whose, anchor=step_id.replace(".", "-"))
        except DomainError as refusal:
            problem = _told(refusal)
    page = render_template(
        "desk/procedures/step.html",
        draft=draft, step=shown, now=now, problem=problem, marks=list(marks_of(shown)),
        faults=[one for one in faults(draft.procedure) if one.fields.get("step") == step_id],
        differs=problem is not None and shown != now, kinds=KINDS, conditions=sorted(CONDITIONS),
        signals=SIGNALS, always_stands=shown.kind in ALWAYS_STANDS,
        stands_for=STANDS_FOR, is_there=IS_THERE, machines=procedures.machines_of(parts.store, whose),
        labels=LABELS, help=HELP, spare=SPARE_ROWS, sentences=procedures.sentences(parts.store, whose),
    )  # fmt: skip
    return make_response(page, 422 if problem else 200)


def _gone(refusal: DomainError) -> Response:
    """The draft was published or thrown away meanwhile, or the step taken out: the words that were typed, to
    be copied from there.
    """
    about = {"code": refusal.code, "fields": refusal.fields, "typed": typed_words(request.form)}
    return make_response(render_template("desk/error.html", status=409, **about), 409)


@blueprint.get("/desk/procedures/<whose>/preview")
def preview(whose: str) -> str:
    """The steps as a tablet shows them at one machine, one of them on a glass, all of them in words."""
    found, machines, machine = _shown_at(whose)
    wrong = list(faults(found))
    stages = None if wrong or not machine else procedures.preview(wiring().store, found, machine, whose)
    steps = [one for stage in stages or () for one in stage["steps"]]
    asked = request.args.get("step", "")
    size = request.args.get("size", "")
    return render_template(
        "desk/procedures/preview.html",
        whose=whose,
        machines=machines,
        machine=machine,
        stages=stages,
        wrong=wrong,
        step=next((one for one in steps if one["id"] == asked), next(iter(steps), None)),
        sizes=GLASSES,
        size=size if size in GLASSES else next(iter(GLASSES)),
        stands_for=STANDS_FOR,
        is_there=IS_THERE,
    )


@blueprint.get("/desk/procedures/<whose>/glass")
def glass(whose: str) -> Response:
    """One step as the tablet's own page shows it, for a frame; its words without a script."""
    found, machines, machine = _shown_at(whose)
    asked = request.args.get("step", "") or next((one.id for one in found.steps), "")
    level = next((one.level for one in found.steps if one.id == asked), "") or ALONE
    reasons = [plain(one.code, one.fields) for one in faults(found)]
    sheet, step = None, None
    if machine and not reasons:
        try:
            sheet = previewing.sheet_of(wiring().store, found, machine, whose, level, wiring().now())
            step = planned_steps(sheet, previewing.SOMEBODY).get(asked)
        except DomainError as refusal:
            reasons = [_told(refusal)]
    page = render_template(
        "desk/procedures/glass.html",
        machine=machines.get(machine),
        reasons=reasons,
        step=step,
        glass={"sheet": sheet, "step": asked, "person": previewing.SOMEBODY} if step else None,
        drawing=rendering.drawing_of(sheet, step["axis"]) if sheet and step else None,
    )
    return make_response(page)


def _shown_at(whose: str) -> tuple[Procedure, dict[str, str], str]:
    """The draft, or what is in use without one; the machines that are worked by it, by id; which is asked."""
    machines = procedures.machines_of(wiring().store, whose)
    asked = request.args.get("machine", "")
    return _shown(whose), machines, asked if asked in machines else next(iter(machines), "")


@blueprint.post("/desk/procedures/<whose>/publish")
@once
def publish(whose: str) -> Response:
    """Look at what publishing the draft would do, or publish it as it was looked at, with a change note."""
    form, parts, who = forms.Publish(), wiring(), sessions.signed_in()
    seen, looked = form.seen.data or "", request.form.get("do") == "publish" and form.looked.data
    if not form.validate():
        return _procedure_page(whose, form)
    try:
        if looked:
            publishing.publish(parts.store, whose, seen, looked, form.note.data or "", who.id, parts.now())
            return _see_other(url_for("procedures.overview", done="published"))
        found = publishing.look(parts.store, whose, seen, who.id)
    except DomainError as refusal:
        form.refuse(None, _told(refusal))
        return _procedure_page(whose, form)
    return _procedure_page(whose, form, found)


@blueprint.post("/desk/procedures/<whose>/onto")
@once
def take_over(whose: str) -> Response:
    """Let a draft that is behind go on from what is in use now."""
    parts, who, typed = wiring(), sessions.signed_in(), request.form
    seen, onto = typed.get("seen", ""), typed.get("onto", "")
    try:
        drafts_behind.take_over(parts.store, whose, seen, onto, who.id, parts.now())
    except DomainError as refusal:
        return _refused(whose, refusal)
    return _to(whose)


@blueprint.post("/desk/procedures/<whose>/discard")
@once
def discard(whose: str) -> Response:
    """Throw the draft away."""
    parts, who = wiring(), sessions.signed_in()
    try:
        procedures.discard(parts.store, whose, request.form.get("seen", ""), who.id, parts.now())
    except DomainError as refusal:
        return _refused(whose, refusal)
    return _see_other(url_for("procedures.overview", done="discarded"))


@blueprint.post("/desk/procedures/<whose>/retire")
@once
def retire(whose: str) -> Response:
    """Let a fixture be worked by the shop's procedure again."""
    parts, who = wiring(), sessions.signed_in()
    try:
        typed = request.form.get("seen", ""), request.form.get("reason", "")
        retiring.retire(parts.store, whose, *typed, who.id, parts.now())
    except DomainError as refusal:
        return _refused(whose, refusal)
    return _see_other(url_for("procedures.overview", done="retired"))


def _changed(whose: str, change: Callable[[Procedure], Procedure], then: Callable[[], Response]) -> Response:
    parts, who = wiring(), sessions.signed_in()
    try:
        procedures.edit(parts.store, whose, request.form.get("seen", ""), change, who.id, parts.now())
    except DomainError as refusal:
        return _refused(whose, refusal)
    return then()


def _refused(whose: str, refusal: DomainError) -> Response:
    form = forms.Publish(formdata=None)
    form.refuse(None, _told(refusal))
    return _procedure_page(whose, form)


def _told(refusal: DomainError) -> str:
    """A refusal in words; whoever changed the draft by their name."""
    if isinstance(refusal, ProcedureFallsShort):
        return with_reasons(refusal)
    fields = dict(refusal.fields)
    if "by" in fields:
        fields["by"] = names().get(str(fields["by"]), fields["by"])
    return plain(refusal.code, fields)


def _shown(whose: str) -> Procedure:
    store = wiring().store
    try:
        return procedures.draft(store, whose).procedure
    except NoDraft:
        return procedures.used(store, whose).procedure


def _procedure_page(whose: str, form: forms.Publish, look: publishing.Look | None = None) -> Response:
    store = wiring().store
    used = procedures.used(store, whose)
    try:
        draft = procedures.draft(store, whose)
    except NoDraft:
        draft = None
    shown = draft.procedure if draft else used.procedure
    form.seen.data, form.looked.data = draft.seen if draft else "", look.digest if look else ""
    found = faults(shown) if draft else ()
    about: dict[str, Any] = {
        "whose": whose,
        "fixture": reading.names_of_fixtures(store).get(whose),
        "used": used,
        "has_own": procedures.has_own(store, whose),
        "draft": draft,
        "shown": shown,
        "faults": found,
        "short": publishing.falls_short(store, whose, shown) if draft and not found else (),
        "marks": marks(shown),
        "look": look,
        "retiring": None if draft else retiring.look(store, whose),
        "machines": procedures.machines_of(store, whose),
        "reason": request.form.get("reason", ""),
        "behind": drafts_behind.behind(store, whose, draft) if draft else None,
        "changes": editing.differences(used.procedure, shown),
        "missing_stages": [one for one in STAGES if one not in {stage.id for stage in shown.stages}],
        "kinds": KINDS,
        "stands_for": STANDS_FOR,
        "is_there": IS_THERE,
        "names": names(),
        "form": form,
    }
    status = 422 if request.method == "POST" and look is None else 200
    return make_response(render_template("desk/procedures/procedure.html", **about), status)


def _to(whose: str, anchor: str = "") -> Response:
    return _see_other(url_for("procedures.procedure", whose=whose, _anchor=anchor or None))


def _see_other(address: str) -> Response:
    return make_response(redirect(address, 303))
