"""The picture of a step: a lead adds one from a file or the camera, says what it shows, or takes it out."""

from __future__ import annotations

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp.domain.plain.errors import DomainError
from webapp.domain.procedure import editing
from webapp.domain.procedure.pictures import MOST_WORDS_OF_PICTURE, WITH_PICTURE
from webapp.services.shop import procedures, step_pictures
from webapp.web.desk import forms
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show.shown_values import plain

blueprint = Blueprint("step_pictures", __name__)


@blueprint.get("/desk/step-pictures/<digest>.jpg")
def file(digest: str) -> Response:
    """A picture of a step as it is kept."""
    answer = make_response(step_pictures.picture(wiring().store, digest))
    answer.headers["Content-Type"] = "image/jpeg"
    answer.headers["Cache-Control"] = "private, max-age=31536000, immutable"
    return answer


@blueprint.route("/desk/procedures/<whose>/steps/<step_id>/picture", methods=["GET", "POST"])
@once
def page(whose: str, step_id: str) -> Response:
    """The picture of one step of the draft."""
    form, store = forms.StepPicture(), wiring().store
    if request.method == "POST" and _is_whole(form):
        try:
            _change(whose, step_id, form)
            return make_response(redirect(url_for("procedures.step", whose=whose, step_id=step_id), 303))
        except DomainError as refusal:
            form.refuse(None, plain(refusal.code, refusal.fields))
    draft = procedures.draft(store, whose)
    step = editing.step_of(draft.procedure, step_id)
    if request.method == "GET" and step.picture:
        form.shows.data = step.picture.shows
    form.seen.data = draft.seen
    shown = render_template(
        "desk/procedures/picture.html",
        draft=draft,
        step=step,
        form=form,
        fits=step.kind in WITH_PICTURE,
        most=MOST_WORDS_OF_PICTURE,
    )
    return make_response(shown, 422 if request.method == "POST" else 200)


def _is_whole(form: forms.StepPicture) -> bool:
    if request.form.get("do") == "out":
        return True
    if not form.validate():
        return False
    if not (form.shows.data or "").strip():
        form.refuse("shows", forms.NO_WORDS_OF_PICTURE)
        return False
    return True


def _change(whose: str, step_id: str, form: forms.StepPicture) -> None:
    parts, who, seen = wiring(), sessions.signed_in().id, form.seen.data or ""
    about = (parts.store, whose, seen, step_id)
    shows = " ".join((form.shows.data or "").split())
    data = form.file.data.read() if form.file.data else b""
    if request.form.get("do") == "out":
        step_pictures.take_out(*about, who, parts.now())
    elif data:
        step_pictures.put(*about, data, shows, parts.shrink_picture, who, parts.now())
    else:
        step_pictures.say_otherwise(*about, shows, who, parts.now())
