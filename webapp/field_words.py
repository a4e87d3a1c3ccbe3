"""The words beside a field of the shop, in forms and files: what for, its usual size, how to find it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

from webapp.domain.shop.asked import ASKED, Asked, Kind
from webapp.domain.shop.plausible import usual_range
from webapp.words import catalogue, say

UNITS_BESIDE = {"deceleration_mm_per_s2": "mm/s²", "latency_s": "s", "temperature_half_range_kelvin": "K",
                "expansion_um_per_m_kelvin": "µm/(m·K)"}  # fmt: skip


def label(kind: str, name: str) -> str:
    """What the field is called where people read it."""
    return say(f"field.{kind}.{name}.label")


def option(kind: str, name: str, value: str) -> str:
    """What one of several answers is called; the word itself where it needs none."""
    code = f"field.{kind}.{name}.is_{value}"
    return say(code) if code in catalogue() else value


def usual(kind: str, name: str) -> str:
    """Its usual size with where that comes from; nothing where there is none to give."""
    code, known = f"field.{kind}.{name}.usual", usual_range(kind, name)
    if code in catalogue():
        return say("field.usual", {"usual": say(code)})
    if not known:
        return ""
    form = "field.usual_range" if known["unit"] else "field.usual_factor"
    return say("field.usual", {"usual": say(form, known)})


def help_of(kind: str, name: str) -> Sequence[str]:
    """What it is for, its usual size, how to find it: each a sentence or two, as far as there is one."""
    texts = [_said(kind, name, "for"), usual(kind, name), _said(kind, name, "find")]
    return [one for one in texts if one]


def in_file(kind: str, name: str) -> Sequence[str]:
    """The same as lines of a shop file: its label first; nothing for a field without words."""
    code = f"field.{kind}.{name}.label"
    return [f"{say(code)}.", *help_of(kind, name), _answers(kind, name)] if code in catalogue() else []


def _answers(kind: str, name: str) -> str:
    """The answers that there are, as they stand in a file."""
    asked = next((one for one in ASKED.get(cast("Kind", kind), ()) if one.name == name), None)
    if asked is None or asked.how not in {"choice", "some", "truth"}:
        return ""
    if asked.how == "truth":
        return say("field.file_truth")
    said = [(value, option(kind, name, value)) for value in asked.options]
    options = ", ".join(value if value == words else f"{value} ({words})" for value, words in said)
    return say("field.file_some" if asked.how == "some" else "field.file_one", {"options": options})


def _said(kind: str, name: str, part: str) -> str:
    code = f"field.{kind}.{name}.{part}"
    return say(code) if code in catalogue() else ""


def unit_beside(asked: Asked, unit: str) -> str:
    """The unit that a field is typed in behind the word “in”; "" without one.
    `unit`: what lengths are in, "" while that is not chosen.
    """
    if not unit and asked.how in {"length", "travel", "heights", "feed"}:
        return ""
    if asked.how in {"length", "travel", "heights"}:
        return say(f"field.unit_{unit}")
    if asked.how in {"um", "by_axis"}:
        return say("field.unit_um")
    return say(f"field.feed_{unit}") if asked.how == "feed" else UNITS_BESIDE.get(asked.name, "")
