"""How a mill stands just now, as plain data that can be kept over a restart."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from typing import Any

from webapp.demo.mill.solids import Values


@dataclass(frozen=True)
class Lean:
    """The ball leans on something:
    along which axis it was pushed, which way, how far past the first contact.
    """

    axis: str
    direction: int
    depth_nm: int
    on: str


@dataclass(frozen=True)
class Search:
    """A probing move: axis, direction (+1, -1), how far at most, how fast."""

    axis: str
    direction: int
    range_nm: int
    feed_mm_per_min: float


@dataclass(frozen=True)
class Answered:
    """What the control keeps of the last touch: where its page stood, and the surface that it makes of it."""

    axis: str
    page_nm: int
    surface_nm: int


@dataclass(frozen=True)
class Crash:
    """Something was hit harder than it bears: what hit what, during which move ("jog", "search")."""

    part: str
    on: str
    during: str


PLAIN = (
    "place_nm", "spindle_tool", "selected_slot", "homed", "page_off_nm", "length_active", "half_changed",
    "alarm", "idle_s", "asleep", "broken", "wiped", "bare", "shift_out", "freed", "gave_nm",
)  # fmt: skip


@dataclass
class MillState:
    """Everything that changes. `place_nm` is the spindle's middle in X and Y and its gauge line in Z.

    `alarm` is a code or empty; `held` what a cycle start would go on with; `answered` the last touch, until
    the next search; `idle_s` the time since the probe was used. `wiped`, `bare`, `shift_out` and `freed` are
    what a person has done about chips, things left lying, shifts left in the control and a changer that
    sticks; `gave_nm` is what loose nuts gave so far.
    """

    place_nm: Values
    spindle_tool: str
    selected_slot: str
    slots_nm: dict[str, Values]
    homed: bool = True
    page_off_nm: int = 0
    length_active: bool = True
    half_changed: bool = False
    alarm: str = ""
    held: Search | None = None
    lean: Lean | None = None
    answered: Answered | None = None
    idle_s: float = 0.0
    asleep: bool = False
    broken: bool = False
    wiped: bool = False
    bare: bool = False
    shift_out: bool = False
    freed: bool = False
    gave_nm: int = 0
    crashes: list[Crash] = field(default_factory=list)

    def as_plain(self) -> dict[str, Any]:
        """Plain data for a file."""
        return asdict(self)

    def restore(self, kept: dict[str, Any]) -> None:
        """Take over what a file kept; what it does not name stays as it is."""
        for name in PLAIN:
            setattr(self, name, kept.get(name, getattr(self, name)))
        self.slots_nm.update(kept.get("slots_nm", {}))
        self.held = Search(**kept["held"]) if kept.get("held") else None
        self.lean = Lean(**kept["lean"]) if kept.get("lean") else None
        self.answered = Answered(**kept["answered"]) if kept.get("answered") else None
        self.crashes = [Crash(**one) for one in kept.get("crashes", [])]
