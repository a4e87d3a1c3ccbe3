"""Moves along one axis: what they reach, lean on, or break.

Rules of this module:
- A move stops at the end of the travel; what stands in the way stops nothing: the machine pushes on.
- A stylus that meets something gives way as far as its overtravel; beyond it, it breaks.
  Any other part, and any other tool, gives nothing: that is a crash at the first contact.
- Leaning, only the way back along the same axis or Z upwards is free; sideways bends the stylus.
- After a crash the mill stands in alarm where it hit.
"""

from __future__ import annotations

from dataclasses import replace

from webapp.demo.mill.build import MillBuild
from webapp.demo.mill.solids import Box, Contact, Tool, Values, first_contact
from webapp.demo.mill.state import Crash, Lean, MillState

GIVES = ("ball", "stylus")


def tip_nm(state: MillState, tool: Tool) -> Values:
    """Where the tool's lowest point stands."""
    return {**state.place_nm, "Z": state.place_nm["Z"] - tool.length_nm}


def move(
    build: MillBuild, state: MillState, tool: Tool, boxes: tuple[Box, ...], axis: str, by_nm: int, during: str
) -> int:
    """Move along one axis, as far as travel allows; return how far it went, signed, in nm."""
    low, high = build.travel_nm[axis]
    start = state.place_nm[axis]
    by_nm = min(max(start + by_nm, low), high) - start
    if not by_nm:
        return 0
    direction = 1 if by_nm > 0 else -1
    if state.lean is not None:
        return _leave(build, state, state.lean, tool, boxes, axis, by_nm, during)
    contact = first_contact(tool, tip_nm(state, tool), axis, direction, boxes)
    if contact is None or contact.away_nm >= abs(by_nm):
        state.place_nm[axis] += by_nm
        return by_nm
    return _push(build, state, contact, axis, by_nm, during)


def _push(build: MillBuild, state: MillState, contact: Contact, axis: str, by_nm: int, during: str) -> int:
    direction = 1 if by_nm > 0 else -1
    depth = abs(by_nm) - contact.away_nm
    allowed = build.overtravel_nm(axis) if contact.part.name in GIVES else 0
    if depth > allowed:
        state.place_nm[axis] += direction * (contact.away_nm + allowed)
        crash(state, contact.part.name, contact.box.name, during)
        return direction * (contact.away_nm + allowed)
    state.place_nm[axis] += by_nm
    state.lean = Lean(axis, direction, depth, contact.box.name)
    return by_nm


def _leave(
    build: MillBuild,
    state: MillState,
    lean: Lean,
    tool: Tool,
    boxes: tuple[Box, ...],
    axis: str,
    by_nm: int,
    during: str,
) -> int:
    """A move of a tool that leans:
    back is free, up is free, further in gives way or breaks, sideways bends.
    """
    direction = 1 if by_nm > 0 else -1
    if axis == lean.axis and direction == lean.direction:
        depth = lean.depth_nm + abs(by_nm)
        if depth > build.overtravel_nm(axis):
            crash(state, "ball", lean.on, during)
            return 0
        state.place_nm[axis] += by_nm
        state.lean = replace(lean, depth_nm=depth)
        return by_nm
    if axis == lean.axis:
        back = min(abs(by_nm), lean.depth_nm)
        state.place_nm[axis] += direction * back
        left = lean.depth_nm - back
        state.lean = replace(lean, depth_nm=left) if left else None
        if state.lean is not None or back == abs(by_nm):
            return direction * back
        rest = move(build, state, tool, boxes, axis, by_nm - direction * back, during)
        return direction * back + rest
    if axis == "Z" and direction > 0:
        state.place_nm["Z"] += by_nm
        state.lean = None
        return by_nm
    crash(state, "ball", lean.on, during)
    return 0


def crash(state: MillState, part: str, on: str, during: str) -> None:
    """Note the crash; a probe that took part in it is broken."""
    state.crashes.append(Crash(part, on, during))
    state.alarm, state.held, state.lean = "crash", None, None
    state.broken = state.broken or part in {*GIVES, "probe body"}
