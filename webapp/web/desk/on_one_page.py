"""One setup on one page, with the forms that decide about it there: sign off, do not accept, answer, close.

Rules: which forms there are hangs on who looks and where the setup stands; a form that was refused takes the
place of its fresh one, so that what was typed is still there. Which setups a lead opened stands in the
browser's own signed session, each with the fingerprint of what was shown: a list of setups can be signed by
one entry of the passphrase only where each was opened there before.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from flask import Response, make_response, render_template, request, session

from webapp.services.decisions import signing_off
from webapp.services.setups import answering
from webapp.web.desk import forms
from webapp.web.desk.opened import opened
from webapp.web.edge import sessions
from webapp.web.edge.wiring import wiring
from webapp.web.show.naming import names

OPENED = "opened"
# A signed cookie holds some four thousand characters.
MOST_OPENED = 24
WAITING = ("signed", "finished")


def note_opened(setup_id: str, fingerprint: str) -> None:
    """Remember in this browser that the person opened a setup as it stands."""
    who = sessions.signed_in().id
    kept = {one: seen for one, seen in opened_before().items() if one != setup_id}
    newest = [*kept.items(), (setup_id, fingerprint)][-MOST_OPENED:]
    session[OPENED] = {"by": who, "setups": [f"{one}:{seen}" for one, seen in newest]}


def opened_before() -> dict[str, str]:
    """The setups that this person opened in this browser, each with the fingerprint shown, oldest first."""
    found = session.get(OPENED) or {}
    if found.get("by") != sessions.signed_in().id:
        return {}
    return dict(one.split(":", 1) for one in found.get("setups", ()))


def setup_page(
    setup_id: str, sign: forms.SignOff | None = None, refuse: forms.NotAccept | None = None
) -> Response:
    """The page of a setup. `sign` and `refuse` are forms that were sent and come back. Raises NotFound."""
    about = opened(setup_id)
    row, shown, who = about["row"], about["detail"]["reviewed"]["sha256"], sessions.signed_in()
    is_due = row["status"] in WAITING and who.is_a("lead") and who.id != row["person"]
    if is_due:
        note_opened(setup_id, shown)
        about |= _deciding(about, setup_id, sign, refuse)
    may_answer = who.is_a("lead") and who.id != row["person"]
    # What was sent where nothing is to be decided any more is refused at the head of the page.
    about["refused"] = None if is_due else sign or refuse
    about["answer_forms"] = _answer_forms(about) if may_answer else {}
    about["close_forms"] = _close_forms(about) if who.is_a("lead") else {}
    status = 422 if request.method == "POST" else 200
    page = render_template("desk/setup.html", **{"is_due": is_due, "names": names(), **about})
    return make_response(page, status)


def _deciding(
    about: Mapping[str, Any], setup_id: str, sign: forms.SignOff | None, refuse: forms.NotAccept | None
) -> dict[str, Any]:
    shown = about["detail"]["reviewed"]["sha256"]
    stake = signing_off.values_at_stake(wiring().store, setup_id)
    sign_form = sign if sign is not None else forms.SignOff(formdata=None)
    sign_form.offer([one.axis for one in stake.standing_as("beyond")])
    refuse_form = (refuse if refuse is not None else forms.NotAccept(formdata=None)).within("refuse")
    for form in (sign_form, refuse_form):
        form.seen.data = form.seen.data or shown
    return {"stake": stake, "sign_form": sign_form, "refuse_form": refuse_form}


def _answer_forms(about: Mapping[str, Any]) -> dict[str, forms.Answer]:
    found, status = {}, about["row"]["status"]
    for one in about["state"]["questions"]:
        if one["answer"] is None:
            form = forms.Answer(formdata=None).within(f"q-{one['question'][-8:]}")
            form.offer(
                answering.decisions_for(one["axis"], status),
                about_axis=one["axis"] is not None,
                finished=status != answering.RUNNING,
            )
            found[one["question"]] = form
    return found


def _close_forms(about: Mapping[str, Any]) -> dict[str, forms.CloseWorry]:
    return {
        one["event"]: forms.CloseWorry(formdata=None).within(f"w-{one['event'][:8]}")
        for one in about["state"]["worries"]
        if one["about"] and one["closed"] is None
    }
