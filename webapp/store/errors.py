"""What goes wrong in the store, each by name.

The sentence of each, in static/words/en/store.json, is for whoever runs the server. The engine of a database
says which of them an error of its driver is.
"""

from webapp.words import Said


class StoreError(Said):
    """Base of all errors of this room."""


class StoreFailed(StoreError):
    code = "store.failed"
    field_names = ("why",)


class FolderNotWritable(StoreError):
    code = "store.folder_not_writable"
    field_names = ("folder",)


class DatabaseLocked(StoreError):
    code = "store.locked"
    field_names = ("seconds",)


class CopyDisturbed(StoreError):
    code = "store.copy_disturbed"
    field_names = ("path", "times", "seconds")


class DecidedTwice(StoreError):
    code = "store.decided_twice"
    field_names = ("path", "setups")


class DiskFull(StoreError):
    code = "store.disk_full"


class DiskFailed(StoreError):
    code = "store.disk_failed"
    field_names = ("why",)


class DatabaseDamaged(StoreError):
    code = "store.damaged"
    field_names = ("path", "why")


class WriteAheadLogRefused(StoreError):
    code = "store.write_ahead_log"
    field_names = ("path", "version")


class SettingNotKept(StoreError):
    code = "store.setting_not_kept"
    field_names = ("setting", "wanted", "found")


class SqliteTooOld(StoreError):
    code = "store.sqlite_too_old"
    field_names = ("version", "least")


class DatabaseNotReached(StoreError):
    code = "store.not_reached"
    field_names = ("where", "why")


class NotAllowed(StoreError):
    code = "store.not_allowed"
    field_names = ("where", "why")


class TargetNotEmpty(StoreError):
    code = "store.target_not_empty"
    field_names = ("table",)


class NotTheSame(StoreError):
    code = "store.not_the_same"
    field_names = ("what",)


class PostgresqlTooOld(StoreError):
    code = "store.postgresql_too_old"
    field_names = ("version", "least")


class SuperuserRefused(StoreError):
    code = "store.superuser_refused"
    field_names = ("role",)


class MadeByAnotherVersion(StoreError):
    code = "store.made_by_another_version"
    field_names = ("path", "number", "found", "wanted")


class KeptForever(StoreError):
    code = "store.kept_forever"
    field_names = ("why",)


class Conflict(StoreError):
    code = "store.conflict"
    field_names = ("why",)


class OutsideTransaction(StoreError):
    code = "store.outside_transaction"


class AlreadyWriting(StoreError):
    code = "store.already_writing"


class OpenedBeforeFork(StoreError):
    code = "store.opened_before_fork"
    field_names = ("opened", "used")


def attribute_in_chain(error: BaseException | None, name: str) -> object | None:
    """What the driver's error says under this name, on itself or on the one that it was made from."""
    while error is not None:
        found: object | None = getattr(error, name, None)
        if found:
            return found
        inner = [part for part in error.args if isinstance(part, BaseException)]
        error = inner[0] if inner else error.__cause__ or error.__context__
    return None
