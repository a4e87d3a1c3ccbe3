"""Worries that name a machine, a vise or a probe: open until a lead closes them."""

from collections.abc import Collection, Sequence
from dataclasses import asdict
from typing import Any

from webapp.domain.setup.trouble.worries import RaisedWorry, WorryRow
from webapp.store.repositories.base import Repository
from webapp.store.tables.worries import Worry


class WorriesRepository(Repository):
    """One row a worry, by the id of its event."""

    def put(self, *, worries: Sequence[RaisedWorry]) -> None:
        """List worries, each once."""
        for worry in worries:
            self._run(Worry.insert(asdict(worry)).on_conflict_ignore())

    def worry(self, *, event: str) -> WorryRow | None:
        """One worry, or None."""
        return next(iter(self._worries(Worry.event == event)), None)

    def open(self) -> tuple[WorryRow, ...]:
        """All open worries, newest first."""
        return self._worries(Worry.closed_at_utc.is_null())

    def open_about(self, *, machine: str, fixtures: Collection[str], probe: str) -> tuple[WorryRow, ...]:
        """Open worries about this machine, one of these fixtures or this probe,
        wherever they were raised, newest first.
        """
        named = (
            ((Worry.about == "machine") & (Worry.machine == machine))
            | ((Worry.about == "vise") & Worry.fixture.in_(list(fixtures)))
            | ((Worry.about == "probe") & (Worry.probe == probe))
        )
        return self._worries(Worry.closed_at_utc.is_null() & named)

    def close(self, *, event: str, by: str, how: str, reason: str, at_utc: str) -> bool:
        """Close a worry that is open; whether it was."""
        fields = {"closed_at_utc": at_utc, "closed_by": by, "closed_how": how, "closed_reason": reason}
        return (
            self._run(Worry.update(fields).where((Worry.event == event) & Worry.closed_at_utc.is_null())) == 1
        )

    def _worries(self, which: Any) -> tuple[WorryRow, ...]:
        rows = self._rows(Worry.select().where(which).order_by(Worry.at_utc.desc(), Worry.event))
        return tuple(WorryRow(**{**row, "blocks": bool(row["blocks"])}) for row in rows)
