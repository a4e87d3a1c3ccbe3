"""What goes wrong in the store, each by name, with a sentence for the person who runs the server.

An error carries a `code` and `fields` for a program; `str()` is the sentence. The engine of a database says
which of them an error of its driver is.
"""

from typing import ClassVar


class StoreError(Exception):
    """Base of all errors of this room."""

    code: ClassVar[str] = "store.failed"
    sentence: ClassVar[str] = "The database answered with an error: {why}."

    def __init__(self, **fields: object) -> None:
        """Fill the sentence with these fields."""
        super().__init__(self.sentence.format(**fields))
        self.fields = fields


class FolderNotWritable(StoreError):
    code = "store.folder_not_writable"
    sentence = (
        "Cannot write in {folder}. Give the server's account the right to write there and start it again."
    )


class DatabaseLocked(StoreError):
    code = "store.locked"
    sentence = "Another program kept the database busy for {seconds} seconds. Nothing was stored. Try again."


class CopyDisturbed(StoreError):
    code = "store.copy_disturbed"
    sentence = (
        "{path} could not be copied: it was written to {times} times meanwhile. "
        "Try again when the shop is quieter."
    )


class DiskFull(StoreError):
    code = "store.disk_full"
    sentence = "The disk is full. Nothing was stored. Make room; the server goes on by itself."


class DiskFailed(StoreError):
    code = "store.disk_failed"
    sentence = "The disk did not read or write ({why}). Nothing was stored. Check the disk and the backups."


class DatabaseDamaged(StoreError):
    code = "store.damaged"
    sentence = "{path} is damaged or is no database ({why}). Stop the server and bring back a backup."


class WriteAheadLogRefused(StoreError):
    code = "store.write_ahead_log"
    sentence = (
        "{path} is in write-ahead-log mode, and SQLite {version} can damage such a file. Convert a copy with "
        "PRAGMA journal_mode=DELETE under a fixed SQLite (3.51.3, 3.50.7 or 3.44.6, or later), then start "
        "again."
    )


class SettingNotKept(StoreError):
    code = "store.setting_not_kept"
    sentence = "The database did not take the setting {setting}: it should be {wanted} and is {found}."


class SqliteTooOld(StoreError):
    code = "store.sqlite_too_old"
    sentence = "SQLite {version} is too old. Version {least} or later is needed."


class DatabaseNotReached(StoreError):
    code = "store.not_reached"
    sentence = (
        "{where} does not answer as it should ({why}). Nothing was stored. See to its server and try again."
    )


class NotAllowed(StoreError):
    code = "store.not_allowed"
    sentence = (
        "{where} does not let this program's role do that ({why}). Let its owner give the role what it needs."
    )


class TargetNotEmpty(StoreError):
    code = "store.target_not_empty"
    sentence = (
        "Something is kept there already, in {table}. Name a database that is new. Nothing was carried over."
    )


class NotTheSame(StoreError):
    code = "store.not_the_same"
    sentence = "What was carried over is not the same on both sides: {what}. All of it was taken back."


class PostgresqlTooOld(StoreError):
    code = "store.postgresql_too_old"
    sentence = "PostgreSQL {version} is too old. Version {least} or later is needed."


class SuperuserRefused(StoreError):
    code = "store.superuser_refused"
    sentence = (
        "The role {role} is a superuser of the database's server, whom nothing there keeps from changing "
        "what is kept for ever. Make a role of its own for Zerokeep and name it in the address."
    )


class MadeByAnotherVersion(StoreError):
    code = "store.made_by_another_version"
    sentence = (
        "{path} was made by another version of the program: its change number {number} is “{found}” and "
        "should be "
        "“{wanted}”. Use the version that made it, or a newer one."
    )


class KeptForever(StoreError):
    code = "store.kept_forever"
    sentence = "{why}. Rows of this table are added and never changed or removed."


class Conflict(StoreError):
    code = "store.conflict"
    sentence = "What should be stored does not fit what is there: {why}."


class OutsideTransaction(StoreError):
    code = "store.outside_transaction"
    sentence = "The store was used outside a transaction. This is a mistake in the program."


class AlreadyWriting(StoreError):
    code = "store.already_writing"
    sentence = "A second transaction was begun inside the first. This is a mistake in the program."


class OpenedBeforeFork(StoreError):
    code = "store.opened_before_fork"
    sentence = (
        "The store was opened in process {opened} and used in {used}. Open it in the process that uses it."
    )


def attribute_in_chain(error: BaseException | None, name: str) -> object | None:
    """What the driver's error says under this name, on itself or on the one that it was made from."""
    while error is not None:
        found: object | None = getattr(error, name, None)
        if found:
            return found
        inner = [part for part in error.args if isinstance(part, BaseException)]
        error = inner[0] if inner else error.__cause__ or error.__context__
    return None
