"""Machines, fixtures, probes and the shop's rules at the desk: what there is, forms to add and to change.

Rules: a form is looked at before it is kept: what it would do to the next sheets stands above it, and it is
kept as it was looked at or not at all. All that was typed stays in the form, whatever was refused. Whoever
changed the same thing meanwhile wins, and it is said what now counts; where something that it rests on was
changed, the look is shown anew. Which unit a new form is typed in is asked, unless every machine shows the
same. The whole shop leaves as a file, noted.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any, cast

from flask import Blueprint, Response, make_response, redirect, render_template, request, url_for

from webapp import field_words
from webapp.domain.plain.errors import DomainError, Finding
from webapp.domain.shop.asked import ASKED, Kind
from webapp.domain.shop.shop import Machine
from webapp.domain.shop.shop_text import write_shop
from webapp.domain.shop.typed_item import Item, is_exact_in, read_typed, typed_of, unit_of
from webapp.services.errors import ChangedMeanwhile, LookChangedMeanwhile, NoSuchItem
from webapp.services.evidence import looked_at
from webapp.services.numbers import seatings
from webapp.services.sheets.vise_places import vise_places
from webapp.services.shop import as_file, beginning, items, out_of_use
from webapp.services.shop.items import Found, Wanted
from webapp.web.desk.pressed_once import once
from webapp.web.edge import sessions
from webapp.web.edge.shop_zone import shop_zone, today
from webapp.web.edge.wiring import wiring
from webapp.web.shop import item_forms
from webapp.web.show import item_drawings, item_looks
from webapp.web.show.shown_values import plain, with_reasons

blueprint = Blueprint("items", __name__)

KINDS = "<any(machine, fixture, probe):kind>"
NEW = ""
PARTS: tuple[out_of_use.Part, ...] = ("machine", "fixture", "probe")
REFERENCES: tuple[Kind, ...] = ("fixture", "probe")


@blueprint.get("/desk/shop")
def page() -> str:
    """The shop, its machines, fixtures and probes, each with the way to change it."""
    store = wiring().store
    return render_template(
        "desk/shop.html",
        rules=items.all_of(store, "shop"),
        things={kind: items.all_of(store, kind) for kind in PARTS},
        out={kind: out_of_use.all_out(store, kind) for kind in PARTS},
        done=request.args.get("done"),
    )


@blueprint.get("/desk/shop/file")
def file() -> Response:
    """The whole shop as a shop file; that it left stands on the ledger."""
    parts, who = wiring(), sessions.signed_in()
    text = write_shop(as_file.shop_of(parts.store), field_words.in_file)
    looked_at.downloaded(parts.store, looked_at.SHOP_FILE, who.id, "shop", {}, parts.now())
    answer = make_response(text)
    answer.headers["Content-Type"] = "application/toml; charset=utf-8"
    answer.headers["Content-Disposition"] = 'attachment; filename="shop.toml"'
    return answer


@blueprint.route(f"/desk/shop/{KINDS}/new", methods=["GET", "POST"])
@once
def new(kind: Kind) -> Response:
    """A new machine, fixture or probe."""
    return _form(kind, NEW, None)


@blueprint.route(f"/desk/shop/{KINDS}/<item>", methods=["GET", "POST"])
@once
def change(kind: Kind, item: str) -> Response:
    """A machine, fixture or probe to be changed."""
    try:
        kept = items.found(wiring().store, kind, item)
    except NoSuchItem:
        if request.method == "GET":
            raise
        return _gone(kind)
    return _form(kind, item, kept)


def _gone(kind: Kind) -> Response:
    """What was to be changed was taken out of use meanwhile: its form, to be added as a new one."""
    typed, said = _typed(kind), plain("services.gone_meanwhile", {})
    more = {"refused": said, "action": url_for("items.new", kind=kind)}
    return _page(kind, None, typed, _unit_typed(kind, typed), {}, 409, **more)


@blueprint.route("/desk/shop/rules", methods=["GET", "POST"])
@once
def rules() -> Response:
    """The shop's own rules to be changed."""
    return _form("shop", items.RULES_ID, items.found(wiring().store, "shop", items.RULES_ID))


@blueprint.get("/desk/shop/drawing.svg")
def drawing() -> Response:
    """What a form describes (vise, probe, a machine's travel), to scale, as far as it can be drawn yet."""
    kinds: dict[str | None, Kind] = {"probe": "probe", "machine": "machine"}
    kind = kinds.get(request.args.get("of"), "fixture")
    typed, dark = item_forms.typed_in(kind, request.args), request.args.get("theme") == "dark"
    unit = unit_of(request.args.get("lengths_in") or typed.get("unit"))
    if kind == "machine":
        vises = vise_places(wiring().store, request.args.get("machine", ""))
        text = item_drawings.travel_svg(typed, unit, vises, dark=dark)
    else:
        text = item_drawings.drawing_svg(kind, typed, unit, dark=dark)
    answer = make_response(text)
    answer.headers["Content-Type"] = "image/svg+xml; charset=utf-8"
    return answer


def _form(kind: Kind, item_id: str, kept: Found | None) -> Response:
    if request.method == "GET":
        unit = _unit_of_kept(kind, kept)
        typed = typed_of(kind, kept.item, unit) if kept else _offered(kind)
        return _page(kind, kept, typed, unit, {}, 200)
    typed = _typed(kind)
    unit = _unit_typed(kind, typed)
    read = read_typed(kind, item_id or items.new_id(wiring().store, kind, typed.get("name", "")), typed,
                      unit or "mm", kept.item if kept else None)  # fmt: skip
    faults = dict(read.faults)
    if not unit:
        faults["lengths_in"] = Finding("field.not_chosen")
    day = _day(kind, kept, faults)
    if read.item is None or faults:
        return _page(kind, kept, typed, unit, faults, 422)
    return _look_or_keep(kind, kept, typed, unit, read.item, day)


def _look_or_keep(
    kind: Kind, kept: Found | None, typed: Mapping[str, str], unit: str, item: Item, day: date | None
) -> Response:
    parts, who, item_id = wiring(), sessions.signed_in(), getattr(item, "id", items.RULES_ID)
    over = request.form.get("over") or None
    seating = (seatings.seating_id(item_id, parts.now(), parts.new_token()), day) if day else None
    wanted = Wanted(kind, item_id, item, over, seating)
    reason, digest = request.form.get("reason", ""), item_forms.seen(typed, unit, over or "", str(day))
    more: dict[str, Any] = {"over": over, "reason": reason, "doubts": item_looks.doubts(kind, item, unit)}
    seen, now, status = request.form.get("seen", ""), parts.now(), 200
    try:
        if request.form.get("do") == "keep" and seen[: len(digest)] == digest:
            try:
                return _next(kind, items.keep(parts.store, wanted, reason, who.id, now, seen[len(digest) :]))
            except LookChangedMeanwhile as refusal:
                more["refused"], status = plain(refusal.code, refusal.fields), 409
        look = items.look(parts.store, wanted, who.id, now)
    except ChangedMeanwhile as refusal:
        said = plain(refusal.code, refusal.fields)
        return _page(kind, kept, typed, unit, {}, 409, refused=said, meanwhile=kept, **{**more, "over": None})
    except DomainError as refusal:
        return _page(kind, kept, typed, unit, {}, 422, refused=with_reasons(refusal), **more)
    more |= {"seen": digest + look.version, "looks": item_looks.shown(look.sheets)}
    return _page(kind, kept, typed, unit, {}, status, **more)


def _next(kind: Kind, item_id: str) -> Response:
    if beginning.missing(wiring().store).next:
        return make_response(redirect(url_for("set_up.guide", done=kind), 303))
    return make_response(redirect(url_for("items.page", done=item_id), 303))


def _page(
    kind: Kind,
    kept: Found | None,
    typed: Mapping[str, str],
    unit: str,
    faults: Mapping[str, Finding],
    status: int,
    **more: Any,
) -> Response:
    store = wiring().store
    offers: dict[str, list[tuple[str, str]]] = {
        name: [(key, str(getattr(one, "name", key))) for key, one in items.all_of(store, name).items()]
        for name in (REFERENCES if kind == "machine" else ())
    }
    if len(offers.get("fixture", ())) > 1:
        offers["more_fixtures"] = offers["fixture"]
    groups = item_forms.groups(kind, typed, faults, unit, offers)
    meanwhile = more.pop("meanwhile", None)
    over = more.pop("over", kept.version if kept else None) or (kept.version if kept else None)
    page = render_template(
        "desk/item.html",
        kind=kind,
        kept=kept.item if kept else None,
        drawn=item_drawings.drawn_from(kind, typed),
        unit=unit,
        groups=groups,
        over=over,
        now_counts=item_looks.differing(kind, meanwhile.item, typed, unit) if meanwhile else (),
        needs_day=kind == "fixture" and kept is None,
        day=request.form.get("since", "") if request.method == "POST" else today(),
        day_fault=faults.get("since"),
        unit_fault=faults.get("lengths_in") if kind != "machine" else None,
        asks_unit=_asks_unit(kind, kept),
        zone=shop_zone(),
        setting_up=kept is None and beginning.missing(store).next is not None,
        **{"looks": None, "doubts": (), "refused": "", "seen": "", "reason": "", "action": "", **more},
    )
    return make_response(page, status)


def _typed(kind: Kind) -> dict[str, str]:
    typed = item_forms.typed_in(kind, request.form)
    for asked in ASKED[kind]:
        if asked.how == "some" and asked.name in typed:
            typed[asked.name] = " ".join(request.form.getlist(asked.name))
    return typed


def _unit_of_kept(kind: Kind, kept: Found | None) -> str:
    """The unit that a form begins with: the machine's, where every length has it. "" where that is not known:
    a new machine's, or where machines show both or there is none.
    """
    store = wiring().store
    if kept is None:
        shown = {cast("Machine", one).unit for one in items.all_of(store, "machine").values()}
        return shown.pop() if kind != "machine" and len(shown) == 1 else ""
    units = [cast("Machine", one) for one in items.all_of(store, "machine").values()]
    own = getattr(kept.item, "id", None)
    mine = [one.unit for one in units if own in (*one.fixtures, one.probe)]
    unit = kept.item.unit if isinstance(kept.item, Machine) else mine[0] if mine else "mm"
    return unit if is_exact_in(kind, kept.item, unit) else "mm"


def _unit_typed(kind: Kind, typed: Mapping[str, str]) -> str:
    """A new machine's lengths are in its own unit; else the form says which. "" where neither is chosen."""
    own = typed.get("unit") if kind == "machine" else None
    chosen = request.form.get("lengths_in") or own
    return unit_of(chosen) if chosen else ""


def _asks_unit(kind: Kind, kept: Found | None) -> str:
    """How a form comes to its unit. What was typed in one is never read in another: a machine's form that
    came with its unit keeps it, though the machine was taken out of use meanwhile.
    """
    if kind != "machine":
        return "here"
    return "as before" if kept is not None or request.form.get("lengths_in") else "by control"


def _offered(kind: Kind) -> dict[str, str]:
    """What a new form begins with: the only fixture and the only probe that there are, and nothing else."""
    found: dict[str, str] = {}
    for name in REFERENCES if kind == "machine" else ():
        known = list(items.all_of(wiring().store, name))
        if len(known) == 1:
            found[name] = known[0]
    return found


def _day(kind: Kind, kept: Found | None, faults: dict[str, Finding]) -> date | None:
    if kind != "fixture" or kept is not None:
        return None
    typed = request.form.get("since", "").strip()
    try:
        return date.fromisoformat(typed)
    except ValueError:
        faults["since"] = Finding("field.not_a_day", {"typed": typed[:40]})
        return None
