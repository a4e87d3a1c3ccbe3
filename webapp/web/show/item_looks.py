"""What a changed machine, fixture or probe would do, as rows to be read; and what is unusual about it.

Rules: a row says one number of one touch before and after, both with the unit that the machine shows from
then on; what stays the same is not listed. A first sheet has nothing before. Where no sheet could be made, it
says why. What is unusual is said in the unit that the form is typed in.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, cast

from webapp import field_words
from webapp.domain.evidence.written_sheet import WrittenSheet
from webapp.domain.shop.asked import ASKED, Asked, Kind
from webapp.domain.shop.examples import RULES
from webapp.domain.shop.plausible import doubts as implausible
from webapp.domain.shop.plausible import in_unit
from webapp.domain.shop.shop import ShopRules
from webapp.domain.shop.told_shop import Shop
from webapp.domain.shop.typed_item import Item, typed_of
from webapp.domain.touch.feeds import format_feed
from webapp.services.shop.items import SheetLook
from webapp.web.show.shown_values import Lengths, plain

NUMBERS = (
    ("ask_line", "usual", "ask_nm", "line"),
    ("stop_line", "usual", "stop_nm", "line"),
    ("gap_low", "approach", "gap_low_nm", "plain"),
    ("gap_high", "approach", "gap_high_nm", "plain"),
    ("search", "approach", "range_nm", "plain"),
    ("first_feed", "approach", "first_feed_mm_per_min", "feed"),
)


@dataclass(frozen=True)
class Row:
    """One number of one touch; `before` empty where there was none."""

    axis: str
    face: str
    what: str
    before: str
    after: str


@dataclass(frozen=True)
class ShownLook:
    """One machine's next sheet: rows that differ, how many words of steps do, or why there is no sheet."""

    machine: str
    is_first: bool
    rows: tuple[Row, ...]
    steps: int
    refusal: str
    touch_refusals: tuple[str, ...]


def shown(looks: Sequence[SheetLook]) -> list[ShownLook]:
    """The looks as they are read."""
    return [_shown(one) for one in looks]


def _shown(one: SheetLook) -> ShownLook:
    lengths = Lengths(one.machine.display)
    refusal = plain(one.error["code"], one.error["fields"]) if one.error else ""
    rows = tuple(_rows(one, lengths)) if one.after else ()
    refused = tuple(
        f"{axis['axis']}: {plain(axis['approach_error']['code'], axis['approach_error']['fields'])}"
        for axis in (one.after["axes"] if one.after else ())
        if axis["approach"] is None and axis["approach_error"]
    )
    name = ", ".join(filter(None, (one.machine.name, one.fixture_name)))
    return ShownLook(name, one.before is None, rows, _steps(one), refusal, refused)


def _rows(look: SheetLook, lengths: Lengths) -> Iterator[Row]:
    before = {axis["axis"]: axis for axis in (look.before["axes"] if look.before else ())}
    for axis in look.after["axes"] if look.after else ():
        was: Mapping[str, Any] = cast("Any", before.get(axis["axis"], {}))
        for what, *where in NUMBERS:
            new, earlier = _number(cast("Any", axis), where, lengths), _number(was, where, lengths)
            if new != earlier:
                face = str(axis["face"])
                yield Row(axis["axis"], face, plain(f"look.{what}", {}), earlier, new)


def _number(axis: Mapping[str, Any], where: Sequence[str], lengths: Lengths) -> str:
    part, name, form = where
    found = (axis.get(part) or {}).get(name)
    if found is None:
        return "" if not axis else "–"
    if form == "feed":
        return format_feed(found, lengths.display)
    return f"{getattr(lengths, form)(found)} {lengths.unit}"


def _steps(look: SheetLook) -> int:
    """How many steps are said otherwise, are new or fall away."""
    before, after = (_step_words(sheet) for sheet in (look.before, look.after))
    return sum(before.get(key) != after.get(key) for key in before.keys() | after.keys()) if before else 0


def _step_words(sheet: WrittenSheet | None) -> dict[str, tuple[str, ...]]:
    steps = [step for stage in sheet["procedure"]["stages"] for step in stage["steps"]] if sheet else []
    return {one["id"]: tuple(str(one.get(name)) for name in ("do", "look_for", "if_not")) for one in steps}


def doubts(kind: Kind, item: Item, unit: str) -> list[str]:
    """What is to be looked at once more: values that are unusual, in the unit of the form ("mm" or "in")."""
    parts: dict[str, tuple[Any, ...]] = {"machine": (), "fixture": (), "probe": ()}
    rules = item if isinstance(item, ShopRules) else RULES
    if kind != "shop":
        parts[kind] = (item,)
    shop = Shop(rules, parts["machine"], parts["fixture"], parts["probe"], (), (), (), ())
    labels = {one.name.removesuffix("_nm"): field_words.label(kind, one.name) for one in ASKED[kind]}
    found = []
    for one in implausible(shop):
        place = str(one.fields["place"])
        if kind == "shop" or not place.startswith("shop"):
            name = place.partition(", ")[2]
            words = plain(one.code, in_unit(one, unit).fields)
            found.append(f"{labels.get(name.partition(',')[0], name)}: {words}")
    return found


def differing(kind: Kind, now: Item, typed: Mapping[str, str], unit: str) -> list[tuple[str, str, str]]:
    """What counts now beside what was typed, where they differ: label with its unit, now, typed."""
    kept = typed_of(kind, now, unit)
    labels = {name: _with_unit(kind, one, unit) for one in ASKED[kind] for name in one.inputs}
    return [(labels[name], kept[name], typed[name]) for name in kept
            if name in typed and kept[name] != typed[name]]  # fmt: skip


def _with_unit(kind: Kind, asked: Asked, unit: str) -> str:
    label, counted = field_words.label(kind, asked.name), field_words.unit_beside(asked, unit)
    return f"{label}, in {counted}" if counted else label
