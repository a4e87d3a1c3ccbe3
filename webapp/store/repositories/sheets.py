"""Sheets that were handed out, their parts, and which is in use where."""

from collections.abc import Collection, Iterator
from typing import cast

from webapp.store.repositories.base import Repository
from webapp.store.rows import SheetChecked, SheetDated, SheetInUseRow, SheetRow
from webapp.store.sheet_parts import join, split
from webapp.store.tables.setups import Sheet, SheetAtFixture

SHEETS_AT_A_TIME = 20
SHEET_DATES = ("hash", "machine", "compiled_at_utc", "expires_at_utc")
CHECKED = ("machine", "fixture", "hash", "version", "checked_at_utc")
SHEETS_IN_USE = f"SELECT {', '.join(CHECKED)} FROM sheet_at_fixture"  # noqa: S608
KEEP_PART = "INSERT INTO sheet_part (hash, body) VALUES (?, ?) ON CONFLICT DO NOTHING"


class SheetsRepository(Repository):
    """A sheet is kept as its own part and the hashes of parts that it shares with others (sheet_parts.py)."""

    def keep_sheet(
        self, sheet_hash: str, machine: str, text: str, content: str, times: tuple[str, str]
    ) -> None:
        """Keep a sheet that is handed out; `times` are compiled and expires.
        Does nothing for one that is there; one that was let go is there again.

        A sheet whose parts do not join to its text,
        because one that was kept before is damaged, is kept whole.
        """
        if self.has_sheet(sheet_hash):
            return
        form, parts = split(text)
        self._database.run_many(KEEP_PART, list(parts.items()))
        kept = form if self._joins_to(form, text) else text
        fields = {"hash": sheet_hash, "machine": machine, "text": kept, "content": content}
        row = {**fields, "compiled_at_utc": times[0], "expires_at_utc": times[1]}
        if self._run(Sheet.insert(row).on_conflict_ignore()) == 0:
            back = Sheet.update(text=kept, content=content)
            self._run(back.where((Sheet.hash == sheet_hash) & (Sheet.text == "")))

    def sheet(self, sheet_hash: str) -> SheetRow | None:
        """One sheet, or None; also for one that was let go."""
        query = Sheet.select().where((Sheet.hash == sheet_hash) & (Sheet.text != ""))
        row: SheetRow | None = self._row(query)
        return self._whole(row) if row else None

    def _joins_to(self, form: str, text: str) -> bool:
        try:
            return join(form, self._parts_of_sheets) == text
        except ValueError:
            return False

    def has_sheet(self, sheet_hash: str) -> bool:
        """Whether this sheet was handed out and is there."""
        return bool(self._database.raw("SELECT 1 FROM sheet WHERE hash = ? AND text <> ''", (sheet_hash,)))

    def _whole(self, row: SheetRow) -> SheetRow:
        """The row with the exact text of its sheet."""
        return {**row, "text": join(row["text"], self._parts_of_sheets)}

    def _parts_of_sheets(self, hashes: Collection[str]) -> dict[str, bytes]:
        found = self._found("sheet_part", ("hash", "body"), hashes, key="hash")
        return {hash_: bytes(row["body"]) for hash_, row in found.items()}

    def all_sheets(self) -> Iterator[SheetRow]:
        """Every sheet that was handed out, by hash, read a few at a time: those that were let go, too, which
        have no text, and of which none may be one that an event names.
        """
        after = ""
        while rows := self._rows(
            Sheet.select().where(Sheet.hash > after).order_by(Sheet.hash).limit(SHEETS_AT_A_TIME)
        ):
            yield from map(self._whole, rows)
            after = rows[-1]["hash"]

    def sheet_in_use(self, machine: str, fixture: str) -> SheetInUseRow | None:
        """The sheet that was last found right for a machine with this fixture, with `version` and
        `checked_at_utc`, or None.
        """
        here = (SheetAtFixture.machine == machine) & (SheetAtFixture.fixture == fixture)
        row = self._row(SheetAtFixture.select().where(here))
        sheet = self.sheet(row["hash"]) if row else None
        return cast("SheetInUseRow", {**row, **sheet}) if row and sheet else None

    def sheets_in_use(self) -> dict[tuple[str, str], SheetChecked]:
        """The same for all, by machine and fixture, without the sheets themselves."""
        rows = self._database.raw(SHEETS_IN_USE)
        return {(row[0], row[1]): cast("SheetChecked", dict(zip(CHECKED, row, strict=True))) for row in rows}

    def sheet_versions(self) -> dict[str, int]:
        """How often what sheets are compiled from has changed, by subject:
        "shop", "machine:…", "fixture:…".
        """
        return dict(self._database.raw("SELECT subject, number FROM sheet_version"))

    def sheets_dated(self, hashes: Collection[str]) -> list[SheetDated]:
        """When these sheets were made and end, without the sheets themselves, in the order in which they were
        made.
        """
        found: dict[str, SheetDated] = self._found("sheet", SHEET_DATES, hashes, key="hash")
        return sorted(found.values(), key=lambda row: (row["compiled_at_utc"], row["hash"]))

    def texts_of_sheets(self, hashes: Collection[str]) -> dict[str, str]:
        """The texts of these sheets, by hash."""
        found = self._found("sheet", ("hash", "text"), hashes, key="hash")
        return {hash_: join(row["text"], self._parts_of_sheets) for hash_, row in found.items()}

    def use_sheet(
        self, machine: str, fixture: str, sheet_hash: str, version: str, checked_at_utc: str
    ) -> None:
        """Say that a sheet was found right for a machine with this fixture."""
        fields = {"machine": machine, "fixture": fixture, "hash": sheet_hash, "version": version}
        here = SheetAtFixture
        self._run(
            here.insert({**fields, "checked_at_utc": checked_at_utc}).on_conflict(
                conflict_target=[here.machine, here.fixture],
                preserve=[here.hash, here.version, here.checked_at_utc],
            )
        )
