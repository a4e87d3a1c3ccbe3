"""Where the rooms are joined, once, at start. Nothing else may import from all of them.

Rules: every part is made here and handed on as a plain argument;
an application whose parts do not fit does not start.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, TypeVar

from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from flask import Flask

from webapp import fonts
from webapp.proof.keys.key_ring import KeyRing
from webapp.proof.ledger import bundle_check
from webapp.record import pictures
from webapp.record.press import Press
from webapp.renderer import RENDERER
from webapp.services.audit import disposal, handing_out
from webapp.services.evidence.timekeeping import Timekeeper, look_at_start
from webapp.services.intake.intake import check_pending_seals
from webapp.settings import Settings
from webapp.shop_folder import certificates_pem, open_keyring, own_hash, shop_name
from webapp.store import Store
from webapp.web import pages
from webapp.web.edge.wiring import Wiring
from webapp.web.files import shell
from webapp.web.files.icons import SIZES, icon

if TYPE_CHECKING:
    from webapp.proof.report import Report

Result = TypeVar("Result")

ROOT = Path(__file__).resolve().parent.parent
STATIC = ROOT / "static"
TEMPLATES = ROOT / "templates"
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
        seal=lambda pdf, at_utc: _apart(partial(_seal, pdf, keyring, at_utc, shop_name(store))),
        verify=lambda pdf: _apart(
            partial(
                _verify,
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
        make_picture_again=pictures.made_again,
        shrink_picture=pictures.shrunk,
        close=partial(_close, press, store),
        timekeeper=Timekeeper(elapsed_s) if elapsed_s else None,
    )
    look_at_start(store, now())
    check_pending_seals(store, keyring, now())
    disposal.go_on(store, now())
    blueprints = list(pages.BLUEPRINTS)
    more_rights = {}
    if settings.demo:
        from webapp.demo import practice  # noqa: PLC0415 - a real shop's server never loads the demo

        blueprints.append(practice.pages(settings.data_folder, now(), store))
        more_rights = practice.RIGHTS
    pages.init_app(app, parts, blueprints, more_rights)
    return app


def _seal(pdf: bytes, keyring: KeyRing, at_utc: str, shop: str) -> bytes:
    """A record sealed for its shop. What seals is read in by the first: a start does not wait for it."""
    from webapp.proof.pdf.pdf_seal import seal  # noqa: PLC0415

    return seal(pdf, keyring, at_utc, shop, SEAL_REASON)


def _verify(*given: Any) -> Report:
    """What `verify_record` says; it is read in by the first that asks."""
    from webapp.proof.sealed_record.record_verify import verify_record  # noqa: PLC0415

    return verify_record(*given)


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
