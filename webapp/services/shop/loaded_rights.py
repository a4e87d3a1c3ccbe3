"""The rights that a shop file comes to, beside those that stand: what is to be withdrawn, what to be given.

Rules: a right that stands as the file says it is not touched. One that says no level is held as before, as
the newest that was withdrawn where none runs, and alone where there never was any. A note of a training that
the file leaves out stays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from webapp.domain.plain.levels import ALONE
from webapp.domain.shop.levels import Held, held
from webapp.domain.shop.told_shop import Authorisation

if TYPE_CHECKING:
    from webapp.store.rows import AuthorisationRow


@dataclass(frozen=True)
class Right:
    """A right to a machine until a time (exclusive; None: until withdrawn), and how it is held."""

    person: str
    machine: str
    until_utc: str | None
    how: Held


def differences(
    rows: Sequence[AuthorisationRow], wanted: Sequence[Authorisation]
) -> tuple[list[AuthorisationRow], list[Right]]:
    """Return which of all rights, oldest first, end by the file, and which rights it adds."""
    running = {_as_it_stands(row): row for row in rows if row["withdrawn_at_utc"] is None}
    asked = {Right(one.person, one.machine, one.until_utc, _how(rows, one)) for one in wanted}
    ended = sorted(running.keys() - asked, key=str)
    return [running[one] for one in ended], sorted(asked - running.keys(), key=str)


def _as_it_stands(row: AuthorisationRow) -> Right:
    how = Held(row["level"] or ALONE, row["training"] or "")
    return Right(row["person"], row["machine"], row["until_utc"], how)


def _how(rows: Sequence[AuthorisationRow], asked: Authorisation) -> Held:
    own = [row for row in rows if (row["person"], row["machine"]) == (asked.person, asked.machine)]
    running = [row for row in own if row["withdrawn_at_utc"] is None]
    same = [row for row in running if row["until_utc"] == asked.until_utc]
    stands = held((row["level"], row["training"]) for row in same or running or own[-1:]) or Held(ALONE)
    training = stands.training if asked.training is None else asked.training.strip()
    return Held(asked.level or stands.level, training)
