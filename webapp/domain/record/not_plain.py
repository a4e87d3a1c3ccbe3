"""What stands under a record's title because the setup was not a plain one:
each in a few words, told at length below.

Rules of this module:
- A setup is plain where every touch was read once and agreed or was a first value, the old values were as
  last seen, nobody raised a worry, and every value joined the usual. Holds, questions and corrections are no
  blemish.
- Nothing is judged: a fact, its axis or slot, and who decided.
"""

from __future__ import annotations

from webapp.domain.evidence.folded_setup import Remark
from webapp.domain.plain.errors import Fields, Finding
from webapp.domain.record.story import Story

COPIES = frozenset({"copy_changed", "copy_fits_several", "copied_row"})


def not_plain(story: Story) -> tuple[Finding, ...]:
    """Return what was not plain, the gravest first; nothing for a plain setup."""
    state = story.state
    remarks = sorted(state["remarks"], key=lambda one: one["kind"] != "not_usable")
    found = [_remark(one, story) for one in remarks]
    copied = state["copied"]
    changed = copied is not None and "changed" in copied["compared"].values()
    if changed and not any(one["kind"] in COPIES for one in remarks):
        found.append(Finding("record.not_plain_copy_changed", {"slot": state["slot"] or "–"}))
    found += [
        Finding("record.not_plain_worry", {"worry_code": f"worry.{worry['worry']}"})
        for worry in state["worries"]
    ]
    return (*found, *_stayed_out(story))


def _remark(one: Remark, story: Story) -> Finding:
    fields: Fields = {
        "axis": one["axis"] or "",
        "slot": (one["labels"] or [story.state["slot"] or "–"])[0],
        "name": story.name_of(one["by"]),
    }
    return Finding(f"record.not_plain_{one['kind']}", fields)


def _stayed_out(story: Story) -> list[Finding]:
    """The axes whose kept values the lead accepted and did not let into the usual;
    older sign-offs let all in.
    """
    sign_off = story.state["sign_off"]
    if sign_off is None or sign_off["into_usual"] is None or story.state["outcome"] != "complete":
        return []
    kept = [axis for axis, value_nm in story.state["values_nm"].items() if value_nm is not None]
    out = [axis for axis in kept if axis not in sign_off["into_usual"]]
    return [Finding("record.not_plain_stayed_out", {"axes": ", ".join(out)})] if out else []
