"""All that can be set about the server, read once at start and never changed after.

Rules: a setting comes from the command line, else from the environment, else from its default; a value that
cannot be used stops the program and says what was given, what was expected and what to do. No secret is ever
printed.

The passphrase that unlocks the server's private keys comes from ZEROKEEP_KEY_PASSPHRASE, or from a file that
only the server's own user can read (mode 0600), made with a random value at the first start. The trade-off:
with the file, a restart needs nobody at the keyboard, but whoever can read the whole disk can unlock the
keys; with the variable, the passphrase can live in a place that is apart from the disk, and a restart without
it stops. Either way it is never in the database and never in a backup of the database.
"""

import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

LOCAL_NAMES = ("localhost", "127.0.0.1", "[::1]")
EVERY_ADDRESS = ("0.0.0.0", "::", "[::]")  # noqa: S104 - refused without named hosts
SHORTEST_PASSPHRASE = 15
MOST_WORKERS = 16
SERVER_SCHEME = "postgresql://"
HOST_NAME = re.compile(r"\.?[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?|\[[0-9A-Fa-f:.]+\]")


class BadSetting(ValueError):
    """A setting that cannot be used. The text says what was given, what was expected and what to do."""


@dataclass(frozen=True)
class Settings:
    """What the server runs with. Lengths of sessions are in whole minutes, the port is 1 to 65535."""

    data_folder: Path
    host: str = "127.0.0.1"
    port: int = 8420
    demo: bool = False
    trusted_hosts: tuple[str, ...] = LOCAL_NAMES
    session_idle_minutes: int = 30
    session_longest_minutes: int = 600
    key_passphrase: str | None = field(default=None, repr=False)
    unlock_file: Path | None = None
    tls_certificate: Path | None = None
    tls_key: Path | None = None
    database_named: Path | str | None = field(default=None, repr=False)  # an address may hold a password
    files_folder_named: Path | None = None
    keys_folder_named: Path | None = None
    workers: int = 1

    @property
    def database(self) -> Path | str:
        """The SQLite file, inside the data folder unless another is named, or a server's address as
        postgresql://…
        """
        return self.database_named or self.data_folder / "zerokeep.db"

    @property
    def files_folder(self) -> Path:
        """Where sealed PDFs and what came in lie, beside the database."""
        return self.files_folder_named or self.data_folder

    @property
    def keys_folder(self) -> Path:
        """Where the sealed private keys lie, apart from the database."""
        return self.keys_folder_named or self.data_folder / "keys"

    @property
    def records_folder(self) -> Path:
        """Where sealed PDFs lie, named by their own hash."""
        return self.files_folder / "records"

    @property
    def unlock_path(self) -> Path:
        """The file with the key passphrase when the environment does not give one."""
        return self.unlock_file or self.data_folder / "unlock"

    @property
    def by_tls(self) -> bool:
        """Whether this server itself speaks TLS."""
        return self.tls_certificate is not None

    @property
    def address(self) -> str:
        """The address to open in a browser on this computer."""
        host = "localhost" if self.host in (*LOCAL_NAMES, *EVERY_ADDRESS) else self.host
        return f"{'https' if self.by_tls else 'http'}://{host}:{self.port}"


def read_settings(environ: Mapping[str, str], options: Mapping[str, object] | None = None) -> Settings:
    """Settings from command-line options (None means: not given) over the environment over the defaults.

    Names of options are the fields of Settings; the variable of a field is ZEROKEEP_ and its name in
    capitals. Raises BadSetting for the first value that cannot be used.
    """
    given = {name: value for name, value in (options or {}).items() if value is not None}
    unknown = set(given) - {name.removesuffix("_named") for name in Settings.__dataclass_fields__}
    if unknown:
        raise BadSetting(f"Nothing is called {', '.join(sorted(unknown))}. Look at `zerokeep serve --help`.")

    def raw(name: str) -> object | None:
        value = given.get(name, environ.get(f"ZEROKEEP_{name.upper()}"))
        return None if value == "" else value

    host = _host(raw("host"))
    return Settings(
        data_folder=_folder(raw("data_folder")),
        host=host,
        port=_whole("port", raw("port"), 8420, 1, 65535),
        demo=_flag("demo", raw("demo")),
        trusted_hosts=_trusted_hosts(raw("trusted_hosts"), host),
        session_idle_minutes=_whole("session_idle_minutes", raw("session_idle_minutes"), 30, 2, 240),
        session_longest_minutes=_whole(
            "session_longest_minutes", raw("session_longest_minutes"), 600, 10, 720
        ),
        key_passphrase=_passphrase(raw("key_passphrase")),
        unlock_file=_path(raw("unlock_file")),
        database_named=database_address(raw("database")),
        files_folder_named=_path(raw("files_folder")),
        keys_folder_named=_path(raw("keys_folder")),
        workers=_workers(raw("workers"), raw("database")),
        **_tls(_path(raw("tls_certificate")), _path(raw("tls_key"))),
    )


def key_passphrase(settings: Settings, new_secret: Callable[[], str], *, made: bool = False) -> str:
    """The passphrase of the server's keys: the one given, else the unlock file's, made at the first start.

    `made`: the keys are there, so that no new passphrase would open them.
    Raises BadSetting when the file is missing then, is empty, can be read by others, or cannot be written.
    """
    if settings.key_passphrase is not None:
        return settings.key_passphrase
    path = settings.unlock_path
    if not path.exists() and made:
        raise BadSetting(
            f"There is no file {path}, and the server's keys are there: nothing else opens them. Nothing was "
            "changed. "
            "Put back the file that was made with these keys, or give their passphrase in "
            "ZEROKEEP_KEY_PASSPHRASE."
        )
    if not path.exists():
        _write_secret(path, new_secret())
    if path.stat().st_mode & 0o077:
        raise BadSetting(f"Others can read {path}, the file that unlocks the keys. Type: chmod 600 {path}")
    text = path.read_text(encoding="utf-8").strip()
    if len(text) < SHORTEST_PASSPHRASE:
        raise BadSetting(
            f"{path} should hold the passphrase of the server's keys and holds {len(text)} characters. "
            "Put back the file that was made with these keys."
        )
    return text


def _write_secret(path: Path, secret: str) -> None:
    try:
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(secret + "\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise BadSetting(f"Cannot write {path}, the file that unlocks the keys: {error.strerror}.") from error


def _folder(value: object | None) -> Path:
    return Path(str(value or "data/shop")).expanduser().absolute()


def _workers(value: object | None, database: object | None) -> int:
    """How many processes answer. Raises BadSetting for more than one beside a file."""
    count = _whole("workers", value, 1, 1, MOST_WORKERS)
    if count > 1 and not isinstance(database_address(database), str):
        raise BadSetting(
            f"workers is {count}, and the shop is kept in a file, which one process serves. "
            "Name a PostgreSQL database, or leave workers at 1."
        )
    return count


def database_address(value: object | None) -> Path | str | None:
    """A database by its address: a server's as it was given, a file's as a path. Raises BadSetting."""
    text = "" if value is None else str(value).strip()
    if text.startswith(SERVER_SCHEME):
        return text
    if "://" in text:
        scheme = text.partition("://")[0]
        raise BadSetting(
            f"database begins with “{scheme}://”. It has to be the path of an SQLite file, or the address "
            "of a PostgreSQL database that begins with postgresql://, such as "
            "postgresql://zerokeep@db.shop.example/shop."
        )
    return _path(text or None)


def _path(value: object | None) -> Path | None:
    return None if value is None else Path(str(value)).expanduser().absolute()


def _whole(name: str, value: object | None, default: int, low: int, high: int) -> int:
    if value is None:
        return default
    text = str(value).strip()
    if not re.fullmatch(r"[0-9]{1,6}", text) or not low <= int(text) <= high:
        raise BadSetting(f"{name} is “{text}”. It has to be a whole number from {low} to {high}.")
    return int(text)


def _flag(name: str, value: object | None) -> bool:
    words = {"1": True, "yes": True, "true": True, "0": False, "no": False, "false": False}
    if value is None:
        return False
    text = str(value).strip().lower()
    if text not in words:
        raise BadSetting(f"{name} is “{text}”. It has to be yes or no.")
    return words[text]


def _host(value: object | None) -> str:
    text = "127.0.0.1" if value is None else str(value).strip()
    if not HOST_NAME.fullmatch(text) and not re.fullmatch(r"[0-9A-Fa-f:.]+", text):
        raise BadSetting(
            f"host is “{text}”. It has to be a name or an address of this computer, such as 127.0.0.1."
        )
    return text


def _trusted_hosts(value: object | None, host: str) -> tuple[str, ...]:
    """The names this server answers to. A request that calls it anything else is refused."""
    names = value if isinstance(value, (list, tuple)) else str(value or "").split(",")
    wanted = tuple(str(name).strip() for name in names if str(name).strip())
    for name in wanted:
        if not HOST_NAME.fullmatch(name):
            raise BadSetting(
                f"trusted_hosts holds “{name}”. Each has to be a name without http:// and without a port, "
                "such as setup.shop.example."
            )
    if host in EVERY_ADDRESS and not wanted:
        raise BadSetting(
            f"host is {host}, every address of this computer. Say in trusted_hosts under which names tablets "
            "and desks call it, separated by commas."
        )
    own = () if host in EVERY_ADDRESS else (f"[{host}]" if ":" in host else host,)
    return tuple(dict.fromkeys((*LOCAL_NAMES, *own, *wanted)))


def _passphrase(value: object | None) -> str | None:
    if value is None:
        return None
    if len(str(value)) < SHORTEST_PASSPHRASE:
        raise BadSetting(
            f"The key passphrase has {len(str(value))} characters. It has to have {SHORTEST_PASSPHRASE} or "
            "more."
        )
    return str(value)


def _tls(certificate: Path | None, key: Path | None) -> dict[str, Path | None]:
    if (certificate is None) != (key is None):
        raise BadSetting("For TLS give both tls_certificate and tls_key, or neither.")
    for path in (certificate, key):
        if path is not None and not path.is_file():
            raise BadSetting(f"There is no file {path}. TLS needs the certificate and its key as files.")
    return {"tls_certificate": certificate, "tls_key": key}
