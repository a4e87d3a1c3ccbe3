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
from ipaddress import ip_address
from pathlib import Path
from typing import TypedDict

from webapp.proof.certificates import own_certificate
from webapp.proof.errors import ProofError
from webapp.words import SaidByCode

LOCAL_NAMES = ("localhost", "127.0.0.1", "[::1]")
EVERY_ADDRESS = ("0.0.0.0", "::", "[::]")  # noqa: S104 - refused without named hosts
SHORTEST_PASSPHRASE = 15
LOG_LINES = ("text", "json")
CERTIFICATE_FOLDER = "certificate"
MOST_WORKERS = 16
SERVER_SCHEME = "postgresql://"
HOST_NAME = re.compile(r"\.?[A-Za-z0-9]([A-Za-z0-9.-]*[A-Za-z0-9])?|\[[0-9A-Fa-f:.]+\]")


class Own(TypedDict, total=False):
    """What a certificate of the shop's own authority settles: the files to serve with, the hosts that it
    names.
    """

    files: dict[str, Path | None]
    hosts: tuple[str, ...]


class BadSetting(SaidByCode):
    """A setting that cannot be used. It says what was given, what was expected and what to do."""


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
    trusted_proxies: tuple[str, ...] = ()
    metrics_addresses: tuple[str, ...] = ()
    log_lines: str = "text"
    trust_port: int | None = None
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
    def photos_folder(self) -> Path:
        """Where pictures of setups lie, named by their own hash."""
        return self.files_folder / "photos"

    @property
    def unlock_path(self) -> Path:
        """The file with the key passphrase when the environment does not give one."""
        return self.unlock_file or self.data_folder / "unlock"

    @property
    def next_unlock_path(self) -> Path:
        """Where a new passphrase of the keys stands until everything is wrapped under it."""
        return self.unlock_path.with_name(f"{self.unlock_path.name}.new")

    @property
    def certificate_folder(self) -> Path:
        """Where the shop's own authority lies, and the server's certificate from it."""
        return self.data_folder / CERTIFICATE_FOLDER

    @property
    def by_tls(self) -> bool:
        """Whether this server itself speaks TLS."""
        return self.tls_certificate is not None

    @property
    def by_own_authority(self) -> bool:
        """Whether its certificate is from the shop's own authority, which tablets are told to trust."""
        return self.tls_certificate == own_certificate.server_file(self.certificate_folder)

    @property
    def address(self) -> str:
        """The address to open in a browser: by TLS one that the certificate names, else one of this
        computer.
        """
        return f"{'https' if self.by_tls else 'http'}://{self.named_host}:{self.port}"

    @property
    def named_host(self) -> str:
        """The name that people are to use: by TLS the first that was given; no certificate names
        `localhost`.
        """
        given = [name for name in self.trusted_hosts if name not in (*LOCAL_NAMES, *EVERY_ADDRESS)]
        if self.by_tls and given:
            return given[0].lstrip(".")
        return "localhost" if self.host in (*LOCAL_NAMES, *EVERY_ADDRESS) else self.host


def read_settings(environ: Mapping[str, str], options: Mapping[str, object] | None = None) -> Settings:
    """Settings from command-line options (None means: not given) over the environment over the defaults.

    Names of options are the fields of Settings; the variable of a field is ZEROKEEP_ and its name in
    capitals. Raises BadSetting for the first value that cannot be used.
    """
    given = {name: value for name, value in (options or {}).items() if value is not None}
    unknown = set(given) - {name.removesuffix("_named") for name in Settings.__dataclass_fields__}
    if unknown:
        raise BadSetting("settings.unknown", names=", ".join(sorted(unknown)))

    def raw(name: str) -> object | None:
        value = given.get(name, environ.get(f"ZEROKEEP_{name.upper()}"))
        return None if value == "" else value

    folder = _folder(raw("data_folder"))
    given_tls = _tls(_path(raw("tls_certificate")), _path(raw("tls_key")))
    own = {} if given_tls["tls_certificate"] else _own_certificate(folder / CERTIFICATE_FOLDER)
    host = _host(raw("host") or (EVERY_ADDRESS[0] if own else None))
    port = _whole("port", raw("port"), 8420, 1, 65535)
    return Settings(
        data_folder=folder,
        host=host,
        port=port,
        demo=_flag("demo", raw("demo")),
        trusted_hosts=_trusted_hosts(raw("trusted_hosts"), host, own.get("hosts", ())),
        trusted_proxies=_addresses("trusted_proxies", raw("trusted_proxies")),
        metrics_addresses=_addresses("metrics_addresses", raw("metrics_addresses")),
        log_lines=_log_lines(raw("log_lines")),
        trust_port=_whole("trust_port", raw("trust_port"), port % 65535 + 1, 1, 65535) if own else None,
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
        **(own.get("files") or given_tls),
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
        raise BadSetting("settings.no_unlock_file", file=str(path))
    if not path.exists():
        write_secret(path, new_secret())
    if path.stat().st_mode & 0o077:
        raise BadSetting("settings.unlock_file_open", file=str(path))
    text = path.read_text(encoding="utf-8").strip()
    if len(text) < SHORTEST_PASSPHRASE:
        raise BadSetting("settings.unlock_file_short", file=str(path), characters=len(text))
    return text


def write_secret(path: Path, secret: str) -> None:
    """Write a secret into a file that is not there yet, for its owner alone: whole, or not at all.
    Raises BadSetting.
    """
    aside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        _write_for_owner(aside, secret + "\n")
        os.link(aside, path)  # of two that do so at once, one finds the other's
        _flush_folder(path.parent)
    except OSError as error:
        raise BadSetting(
            "settings.unlock_file_not_written", file=str(path), why=error.strerror or ""
        ) from error
    finally:
        aside.unlink(missing_ok=True)


def _flush_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _write_for_owner(path: Path, text: str) -> None:
    with os.fdopen(
        os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600), "w", encoding="utf-8"
    ) as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())


def _folder(value: object | None) -> Path:
    return Path(str(value or "data/shop")).expanduser().absolute()


def _workers(value: object | None, database: object | None) -> int:
    """How many processes answer. Raises BadSetting for more than one beside a file."""
    count = _whole("workers", value, 1, 1, MOST_WORKERS)
    if count > 1 and not isinstance(database_address(database), str):
        raise BadSetting("settings.workers_of_a_file", workers=count)
    return count


def database_address(value: object | None) -> Path | str | None:
    """A database by its address: a server's as it was given, a file's as a path. Raises BadSetting."""
    text = "" if value is None else str(value).strip()
    if text.startswith(SERVER_SCHEME):
        return text
    if "://" in text:
        raise BadSetting("settings.database", scheme=text.partition("://")[0])
    return _path(text or None)


def _path(value: object | None) -> Path | None:
    return None if value is None else Path(str(value)).expanduser().absolute()


def _whole(name: str, value: object | None, default: int, low: int, high: int) -> int:
    if value is None:
        return default
    text = str(value).strip()
    if not re.fullmatch(r"[0-9]{1,6}", text) or not low <= int(text) <= high:
        raise BadSetting("settings.whole", name=name, typed=text, low=low, high=high)
    return int(text)


def _flag(name: str, value: object | None) -> bool:
    words = {"1": True, "yes": True, "true": True, "0": False, "no": False, "false": False}
    if value is None:
        return False
    text = str(value).strip().lower()
    if text not in words:
        raise BadSetting("settings.flag", name=name, typed=text)
    return words[text]


def _host(value: object | None) -> str:
    text = "127.0.0.1" if value is None else str(value).strip()
    if not HOST_NAME.fullmatch(text) and not re.fullmatch(r"[0-9A-Fa-f:.]+", text):
        raise BadSetting("settings.host", typed=text)
    return text


def _own_certificate(folder: Path) -> Own:
    """The certificate of the shop's own authority, where one was made: its file twice, and the hosts it
    names.
    """
    if not own_certificate.is_made(folder):
        return {}
    try:
        hosts = own_certificate.look(folder).hosts
    except ProofError as error:
        raise BadSetting(error.code, **error.fields) from error
    file = own_certificate.server_file(folder)
    return {"files": {"tls_certificate": file, "tls_key": file}, "hosts": tuple(map(_in_brackets, hosts))}


def _in_brackets(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def _addresses(name: str, value: object | None) -> tuple[str, ...]:
    """Addresses with commas between them, each as the network writes it."""
    found = [part.strip() for part in str(value or "").split(",") if part.strip()]
    try:
        return tuple(str(ip_address(part)) for part in found)
    except ValueError:
        raise BadSetting(f"settings.{name}", typed=str(value)) from None


def _log_lines(value: object | None) -> str:
    text = "text" if value is None else str(value).strip().lower()
    if text not in LOG_LINES:
        raise BadSetting("settings.log_lines", typed=text)
    return text


def _trusted_hosts(value: object | None, host: str, own: tuple[str, ...]) -> tuple[str, ...]:
    """The names this server answers to. A request that calls it anything else is refused."""
    names = value if isinstance(value, (list, tuple)) else str(value or "").split(",")
    wanted = (*own, *(str(name).strip() for name in names if str(name).strip()))
    for name in wanted:
        if not HOST_NAME.fullmatch(name):
            raise BadSetting("settings.trusted_hosts", typed=name)
    if host in EVERY_ADDRESS and not wanted:
        raise BadSetting("settings.every_address", host=host)
    listened_at = () if host in EVERY_ADDRESS else (_in_brackets(host),)
    return tuple(dict.fromkeys((*LOCAL_NAMES, *wanted, *listened_at)))


def _passphrase(value: object | None) -> str | None:
    if value is None:
        return None
    if len(str(value)) < SHORTEST_PASSPHRASE:
        raise BadSetting("settings.passphrase_short", characters=len(str(value)), least=SHORTEST_PASSPHRASE)
    return str(value)


def _tls(certificate: Path | None, key: Path | None) -> dict[str, Path | None]:
    if (certificate is None) != (key is None):
        raise BadSetting("settings.half_of_tls")
    for path in (certificate, key):
        if path is not None and not path.is_file():
            raise BadSetting("settings.no_tls_file", file=str(path))
    return {"tls_certificate": certificate, "tls_key": key}
