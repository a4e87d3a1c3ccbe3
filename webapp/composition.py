"""Where the rooms are joined, once, at start. Nothing else may import from all of them.

Rules: every part is made here and handed on as a plain argument;
an application whose parts do not fit does not start.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from functools import partial
from importlib.metadata import version
from pathlib import Path
from typing import IO, TypeVar

from cryptography import x509
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from cryptography.hazmat.primitives.serialization import Encoding
from flask import Flask

from webapp import VERSION, fonts
from webapp.proof import bundle_check
from webapp.proof.errors import KeyFolderError
from webapp.proof.key_file import write_whole
from webapp.proof.keys import FILE_NAME, KeyRing
from webapp.proof.pdf_seal import seal
from webapp.proof.record_verify import NOT_ON_LEDGER, verify_record
from webapp.record.press import Press
from webapp.services.audit import handing_out
from webapp.services.evidence.entries import sealed_here
from webapp.services.evidence.timekeeping import Timekeeper, look_at_start
from webapp.services.intake.intake import check_pending_seals
from webapp.settings import Settings, key_passphrase
from webapp.store import Store
from webapp.web import pages
from webapp.web.edge.wiring import Wiring
from webapp.web.files import shell
from webapp.web.files.icons import SIZES, icon

Result = TypeVar("Result")

ROOT = Path(__file__).resolve().parent.parent
STATIC = ROOT / "static"
TEMPLATES = ROOT / "templates"
KEYS_NAME = "Zerokeep"
CERTIFICATES_FILE = "seal-certificates.pem"
HEAD_KEYS_FILE = "ledger-keys.txt"
RENDERER = {"weasyprint": version("weasyprint"), "zerokeep": VERSION}
SEAL_REASON = "Reviewed and accepted by the lead; sealed by the shop's server"


def compose(
    settings: Settings,
    now: Callable[[], datetime],
    new_token: Callable[[], str],
    elapsed_s: Callable[[], float] | None = None,
) -> Flask:
    """The application with every part in place. See webapp.create_app."""
    settings.data_folder.mkdir(parents=True, exist_ok=True)
    keyring = open_keyring(settings, now, new_token)
    app = Flask("webapp", static_folder=None, template_folder=str(TEMPLATES))
    app.config.from_mapping(configuration(settings, keyring))
    store, press = Store.open(settings.database, settings.files_folder), Press()
    final = partial(press.render, final=True)
    parts = Wiring(
        settings=settings,
        store=store,
        keyring=keyring,
        shell=files(),
        now=now,
        new_token=new_token,
        render=final,
        render_unsigned=partial(press.render, final=False),
        print_trends=press.trends,
        renderer=RENDERER,
        seal=lambda pdf, at_utc: _apart(partial(seal, pdf, keyring, at_utc, shop_name(store), SEAL_REASON)),
        verify=lambda pdf: _apart(
            partial(
                verify_record,
                pdf,
                keyring.trusted_certificates,
                final,
                own_hash(store, pdf),
                RENDERER,
                keyring.head_keys,
            )
        ),
        hand_out=partial(handed_out, store, keyring),
        checker=checker,
        close=partial(_close, press, store),
        timekeeper=Timekeeper(elapsed_s) if elapsed_s else None,
    )
    look_at_start(store, now())
    check_pending_seals(store, keyring, now())
    blueprints = list(pages.BLUEPRINTS)
    more_rights = {}
    if settings.demo:
        from webapp.demo import practice  # noqa: PLC0415 - a real shop's server never loads the demo

        blueprints.append(practice.pages(settings.data_folder, now(), store))
        more_rights = practice.RIGHTS
    pages.init_app(app, parts, blueprints, more_rights)
    return app


def _apart(work: Callable[[], Result]) -> Result:
    """What the work gives, done in a thread of its own.

    The judge of seals runs an event loop for each question,
    which a thread whose loop is running already cannot.
    """
    with ThreadPoolExecutor(max_workers=1) as thread:
        return thread.submit(work).result()


def _close(press: Press, store: Store) -> None:
    press.close()
    store.close()


def handed_out(
    store: Store, keyring: KeyRing, asked: handing_out.Asked, by: str, now: datetime, file: IO[bytes]
) -> int:
    """Write a bundle for somebody outside, with all that is public here; how many setups it holds."""
    public = handing_out.Public(
        head_keys="".join(f"{key.text}\n" for key in keyring.head_keys).encode(),
        certificates=certificates_pem(keyring),
        checker=checker(),
    )
    return handing_out.hand_out(store, keyring.head_signer, asked, by, public, RENDERER, now, file)


def checker() -> bytes:
    """The program that checks a bundle, as it lies in every one of them."""
    return Path(bundle_check.__file__).read_bytes()


def shop_name(store: Store) -> str:
    """The shop's name as it was loaded; this program's own before that."""
    with store.reading():
        shop = store.shop.item("shop", "shop")
    return str(shop["name"]) if shop else KEYS_NAME


def own_hash(store: Store, pdf: bytes) -> str:
    """The hash of these bytes if this server sealed them and noted the hash on its ledger, else
    NOT_ON_LEDGER.
    """
    digest = hashlib.sha256(pdf).hexdigest()
    with store.reading():
        return digest if sealed_here(store, digest) else NOT_ON_LEDGER


def open_keyring(settings: Settings, now: Callable[[], datetime], new_token: Callable[[], str]) -> KeyRing:
    """The server's keys, made at the first start. Raises BadSetting, WrongPassphrase, KeyFolderError.

    Beside a shop that has a past no keys are ever made: they would fit nothing that stands there. The
    certificates of the seal and the keys of the ledger's heads are public: they lie beside the keys in two
    files, for whoever verifies.
    """
    made = (settings.keys_folder / FILE_NAME).exists()
    if not made:
        _refuse_beside_a_past(settings)
    passphrase = key_passphrase(settings, new_token, made=made)
    if made:
        keyring = KeyRing.open(settings.keys_folder, passphrase)
    else:
        keyring = KeyRing.create(settings.keys_folder, passphrase, common_name=KEYS_NAME, now=now())
    write_certificates(settings, keyring)
    write_head_keys(settings, keyring)
    return keyring


def _refuse_beside_a_past(settings: Settings) -> None:
    if not Store.is_at(settings.database):
        return
    store = Store.open(settings.database, settings.files_folder)
    try:
        with store.reading():
            entries = store.ledger.size()
    finally:
        store.close()
    if entries:
        raise KeyFolderError("keys.missing", file=str(settings.keys_folder / FILE_NAME), entries=entries)


def certificates_pem(keyring: KeyRing) -> bytes:
    """The certificates of all seals, the one in use first, as PEM."""
    return b"".join(one.public_bytes(Encoding.PEM) for one in keyring.trusted_certificates)


def write_certificates(settings: Settings, keyring: KeyRing) -> None:
    """Put the certificates of all seals, the one in use first, into the file beside the keys.

    Others that stand there stay: records may have been sealed under them, whatever became of their keys.
    """
    file = settings.data_folder / CERTIFICATES_FILE
    before = file.read_bytes() if file.exists() else b""
    pem = certificates_pem(keyring) + b"".join(
        one.public_bytes(Encoding.PEM) for one in _readable(before) if one not in keyring.trusted_certificates
    )
    if before != pem:
        write_whole(settings.data_folder, CERTIFICATES_FILE, pem)


def write_head_keys(settings: Settings, keyring: KeyRing) -> None:
    """Put the public keys of the ledger's heads, the one in use first, into their file; others there stay."""
    file = settings.data_folder / HEAD_KEYS_FILE
    before = file.read_text(encoding="utf-8", errors="replace").split() if file.exists() else []
    now = [key.text for key in keyring.head_keys]
    text = "".join(f"{key}\n" for key in (*now, *(one for one in before if one not in now)))
    if text.split() != before:
        write_whole(settings.data_folder, HEAD_KEYS_FILE, text.encode())


def _readable(pem: bytes) -> list[x509.Certificate]:
    try:
        return x509.load_pem_x509_certificates(pem)
    except ValueError:
        return []


def configuration(settings: Settings, keyring: KeyRing) -> dict[str, object]:
    """Flask's and Flask-WTF's settings.
    The form cookie's key comes from the pepper, which no visitor can guess at.
    """
    from webapp.web.edge import request_sizes  # noqa: PLC0415

    return {
        "SECRET_KEY": HKDF(SHA256(), 32, None, b"zerokeep/form-cookie/1").derive(keyring.pepper),
        "TRUSTED_HOSTS": list(settings.trusted_hosts),
        "MAX_CONTENT_LENGTH": request_sizes.SMALL,
        "MAX_FORM_MEMORY_SIZE": request_sizes.FORM_MEMORY,
        "MAX_FORM_PARTS": request_sizes.FORM_PARTS,
        "PROVIDE_AUTOMATIC_OPTIONS": False,
        "SESSION_COOKIE_NAME": "__Host-zerokeep-form",
        "SESSION_COOKIE_SECURE": True,
        "SESSION_COOKIE_HTTPONLY": True,
        "SESSION_COOKIE_SAMESITE": "Strict",
        "SESSION_COOKIE_PATH": "/",
        "WTF_CSRF_CHECK_DEFAULT": False,  # guards.py calls it, after the rights
        "WTF_CSRF_TIME_LIMIT": None,  # as long as the cookie: a page left open over a shift still sends
        # guards.py checks Sec-Fetch-Site and Origin on every scheme, not only TLS
        "WTF_CSRF_SSL_STRICT": False,
    }


def files() -> shell.Shell:
    """All files of the pages, under one version."""
    web_fonts = {name: fonts.web_font(name) for name in (*fonts.WEB_FONTS, *fonts.NAME_FONTS)}
    named = {shell.font_name(name, body): body for name, body in web_fonts.items()}
    return shell.read_shell(
        STATIC,
        sorted((TEMPLATES / "tablet").glob("*.html")),
        named,
        {name: icon(name) for name in SIZES},
        font_css(dict(zip(web_fonts, named, strict=True))),
    )


def font_css(names: dict[str, str]) -> str:
    """The @font-face rules for the fonts under /fonts/;
    the heaviest one also stands for every heavier weight.
    """
    rules = []
    weights = {name: fonts.WEIGHTS[fonts.weight_name(name)] for name in names}
    heaviest = max(weights.values())
    for name, file in names.items():
        weight = f"{heaviest} 900" if weights[name] == heaviest else str(weights[name])
        letters = f"unicode-range: {fonts.NAME_RANGE}; " if name in fonts.NAME_FONTS else ""
        rules.append(
            f'@font-face {{ font-family: "{fonts.FAMILY}"; font-style: normal; font-weight: {weight}; '
            f'font-display: swap; {letters}src: url("/fonts/{file}") format("woff2"); }}\n'
        )
    return "".join(rules)
