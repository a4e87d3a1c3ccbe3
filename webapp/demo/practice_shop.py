"""The mills of the demo shop, kept over a restart:
how each stands, what is wrong with it, and what was done last.

Everything that a mill knows is written to one file after each action (temporary name, fsync, rename), so that
a server stopped in the middle of a setup comes back to the same mill. Chance is counted, not kept: touch
number n of a mill always scatters the same way.
"""

import json
import os
import random
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from webapp.demo.mill import SimulatedMill
from webapp.demo.mill.planting import PLANTS, planted

LINES_KEPT = 12


@dataclass(frozen=True)
class Deed:
    """One action and what the control showed after it."""

    at_utc: str
    done: str
    shown: str


@dataclass
class PracticeMill:
    """One simulated mill with its notebook; `make` builds it with the generator of its next touch."""

    make: Callable[[random.Random], SimulatedMill]
    seed: str
    mill: SimulatedMill = field(init=False)
    touches: int = 0
    deeds: list[Deed] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.mill = self.make(self.chance())

    def chance(self) -> random.Random:
        """The generator for the next touch: the same seed and count give the same scatter."""
        return random.Random(f"{self.seed}:{self.touches}")  # noqa: S311 - scatter of a simulation

    def plant(self, names: Iterable[str]) -> None:
        """Let these things, and no others, be wrong at this mill; names that nobody knows are left out."""
        self.faults = [name for name in PLANTS if name in set(names)]
        other = next(number for number in self.mill.build.tools if number != self.mill.probe_tool)
        self.mill.plant(planted(self.faults, self.mill.ball_radius_nm, other))

    def note(self, deed: Deed) -> None:
        """Put an action at the head of the notebook."""
        self.deeds = [deed, *self.deeds][:LINES_KEPT]


class PracticeShop:
    """All practice mills by machine id, one action at a time."""

    def __init__(self, mills: dict[str, PracticeMill], file: Path) -> None:
        self.mills = mills
        self._file = file
        self._lock = threading.Lock()
        self._read()

    def act(self, machine_id: str, action: Callable[[PracticeMill], Deed]) -> Deed:
        """Carry out one action, keep the state, return the note. Errors of the mill pass through unkept."""
        with self._lock:
            practice = self.mills[machine_id]
            practice.mill.chance = practice.chance()
            deed = action(practice)
            practice.note(deed)
            self._write()
            return deed

    def keep(self) -> None:
        """Write the state of all mills down."""
        with self._lock:
            self._write()

    def _read(self) -> None:
        if not self._file.exists():
            return
        kept = json.loads(self._file.read_text(encoding="utf-8"))
        for machine_id, state in kept.items():
            if machine_id in self.mills:
                _restore(self.mills[machine_id], state)

    def _write(self) -> None:
        state = {machine_id: _state(practice) for machine_id, practice in self.mills.items()}
        part = self._file.with_suffix(".part")
        with part.open("w", encoding="utf-8") as handle:
            json.dump(state, handle)
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(self._file)


def _state(practice: PracticeMill) -> dict[str, object]:
    return {
        **practice.mill.state.as_plain(),
        "faults": practice.faults,
        "touches": practice.touches,
        "deeds": [[deed.at_utc, deed.done, deed.shown] for deed in practice.deeds],
    }


def _restore(practice: PracticeMill, state: dict[str, Any]) -> None:
    practice.plant(state.get("faults", []))
    practice.mill.state.restore(state)
    practice.touches = int(state["touches"])
    practice.deeds = [Deed(*line) for line in state["deeds"]]
