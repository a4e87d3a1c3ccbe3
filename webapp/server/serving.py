"""Starts the server and says plainly why it cannot.

Rules: everything that can fail at a start is tried before the first request: the data folder, the keys, the
database, the port. At SIGTERM or Ctrl-C no new request is taken and those in flight are finished.

One worker process beside a file, whose threads wait on the disk and not on each other; on PostgreSQL as many
as `workers` says. What matters lives in the store: throttles, sessions, and which worker audits and seals.
Each process has of its own what was worked out of the past (under the number of its last change), sheets by
their hash, how many calls strangers may still make (so that they may make as many at each), and where the
clock stood (each that sees a jump notes it).
"""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING, Any, TextIO

from granian.constants import Interfaces, SSLProtocols
from granian.http import HTTP1Settings
from granian.log import LogLevels
from granian.server import Server

from webapp import create_app
from webapp.chance import new_token
from webapp.charts.paper import warm_up
from webapp.clocks import elapsed_s, utc_now
from webapp.data_folder import CannotStart, clear_left_copies, make_data_folder
from webapp.proof.certificates import own_certificate
from webapp.proof.certificates.tls_certificate import check_tls
from webapp.proof.errors import ProofError
from webapp.proof.keys.seal_term import seal_term
from webapp.server import connections, set_up_code, trust_page, watching
from webapp.server.audit_room import audit_apart
from webapp.server.certificates import renew_if_due
from webapp.server.ending import end_with_parent
from webapp.server.log_lines import write_log
from webapp.server.reception import Reception
from webapp.services.evidence import rotation, safekeeping
from webapp.services.setups import finding, recording
from webapp.services.sheets import preparing
from webapp.services.sheets.fitted_machines import places
from webapp.services.shop import beginning
from webapp.settings import BadSetting, Settings
from webapp.shop_folder import unknown_public
from webapp.store import Store, StoreError
from webapp.words import say

if TYPE_CHECKING:
    from flask import Flask

BLOCKING_THREADS = 8
MOST_CONNECTIONS = 1024
HEADER_WAIT_MS = 10_000  # a connection that asks nothing for so long is closed
LONGEST_END_S = 20
ASK_AGAIN_S = 30.0  # a worker that is not the one that looks after things
SHORT_PAUSE_S = 0.02
PAUSE_S = 1.0  # between two records, so that people who wait for a page go first


def serve(settings: Settings, say: TextIO = sys.stdout) -> None:
    """Serve until SIGTERM or Ctrl-C. Raises CannotStart before anything listens."""
    for line in prepare(settings):
        print(line, file=say, flush=True)
    server = Server(
        "zerokeep",
        address=settings.host,
        port=settings.port,
        interface=Interfaces.ASGI,
        workers=settings.workers,
        backpressure=MOST_CONNECTIONS,
        http1_settings=HTTP1Settings(header_read_timeout=HEADER_WAIT_MS),
        websockets=False,
        log_level=LogLevels.error,
        ssl_cert=settings.tls_certificate,
        ssl_key=settings.tls_key,
        ssl_protocol_min=SSLProtocols.tls12,
        workers_kill_timeout=LONGEST_END_S,
    )
    server.serve(target_loader=partial(_load, settings, os.getpid()), wrap_loader=False)


def prepare(settings: Settings) -> list[str]:
    """Try everything that a start needs; the lines to say when it is all there. Raises CannotStart."""
    make_data_folder(settings)
    clear_left_copies(settings.data_folder)
    check_port(settings)
    if settings.trust_port is not None:
        check_port(replace(settings, port=settings.trust_port))
    try:
        renew_if_due(settings, utc_now())
        notices = _tls_notices(settings)
        app = create_app(settings, utc_now, new_token, elapsed_s)
    except (BadSetting, ProofError, StoreError) as error:
        raise CannotStart(error.code, **error.fields) from error
    parts = app.extensions["zerokeep"]
    try:
        term = seal_term(parts.keyring.seal_certificate, parts.now())
        warning = [say(term.code, term.fields)] if term else []
        due = None if settings.demo else safekeeping.reminder(parts.store, parts.now())
        aged = [] if settings.demo else rotation.reminders(parts.store, parts.now())
        kept = [say(one.code, one.fields) for one in (*([due] if due else []), *aged)]
        kept += [
            say("start.unknown_public", one._asdict()) for one in unknown_public(settings, parts.keyring)
        ]
        return [*_hint_if_empty(parts.store, settings), *warning, *kept, *notices, *_where(settings)]
    finally:
        parts.close()


def _tls_notices(settings: Settings) -> list[str]:
    """What is to be said of the server's certificate. Raises TlsRefused."""
    if settings.tls_certificate is None or settings.tls_key is None:
        return []
    found = check_tls(settings.tls_certificate, settings.tls_key, settings.trusted_hosts, utc_now())
    return [say(one.code, one.fields) for one in found]


def check_port(settings: Settings) -> None:
    """Raise CannotStart if nothing can listen at the host and port of the settings."""
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((settings.host, settings.port))
        except OSError as error:
            raise CannotStart(
                "start.port",
                port=settings.port,
                host=settings.host,
                why=error.strerror or "",
                address=settings.address,
                another=settings.port % 65535 + 1,
            ) from error


def _hint_if_empty(store: Store, settings: Settings) -> list[str]:
    """What to do where nobody can sign in yet, with a new code for the browser's way."""
    if not beginning.is_open(store):
        set_up_code.take_away(settings.data_folder)
        return []
    code = set_up_code.make(settings.data_folder, utc_now())
    return [
        "No shop is here yet: nobody can sign in and no tablet has a setup sheet.",
        f"Set it up in a browser: {settings.address}/set-up",
        f"Code for the set-up, good for this start alone: {code}",
        "The code ends after a day; stop and start the server for a new one.",
        "Or with a file: zerokeep starter SHOP.toml, fill it in, zerokeep load SHOP.toml --dry-run",
    ]


def _where(settings: Settings) -> list[str]:
    lines = [f"Zerokeep answers at {settings.address}", f"Its data lies in {settings.data_folder}"]
    is_alone = settings.host in {"127.0.0.1", "localhost", "::1"}
    if not settings.by_tls and not is_alone and not settings.trusted_proxies:
        lines.append(
            "Without TLS, browsers on other computers can neither sign in nor work without the network: "
            "make a certificate with zerokeep certificate make HOST …, or give --tls-certificate and "
            "--tls-key, or put a TLS server in front and name it in --trusted-proxies."
        )
    if settings.by_own_authority:
        lines += _how_to_trust(settings)
    return [*lines, "Stop it with Ctrl-C."]


def _how_to_trust(settings: Settings) -> list[str]:
    """Where a new device learns to trust this server, and what people compare."""
    own = own_certificate.look(settings.certificate_folder)
    return [
        f"A tablet or desk that does not trust it yet opens {trust_page.address(settings)} first.",
        f"The fingerprint to compare there: {own_certificate.fingerprint(own.authority)}",
    ]


def _load(settings: Settings, parent: int) -> Callable[..., Any]:
    """What the worker process runs: its own application, with connections of its own."""
    end_with_parent(parent)
    write_log(settings.log_lines, sys.stderr)
    app: Flask = create_app(settings, utc_now, new_token, elapsed_s)
    threading.Thread(target=warm_up, daemon=True).start()
    threading.Thread(target=read_the_past, args=(app,), daemon=True).start()
    threading.Thread(target=_look_after, args=(app, settings, parent), daemon=True).start()
    tended = (settings.port, settings.trusted_proxies)
    threading.Thread(target=connections.tend, args=tended, daemon=True).start()
    if settings.by_own_authority:
        trust_page.start(app, settings)
    return Reception(app, BLOCKING_THREADS, trusted_proxies=settings.trusted_proxies)


def _look_after(app: Flask, settings: Settings, parent: int) -> None:
    """Do what is done once for all workers, as soon as this is the one: another may have ended."""
    store = app.extensions["zerokeep"].store
    while not _is_first(app, store):
        time.sleep(ASK_AGAIN_S)
    threading.Thread(target=seal_what_is_missing, args=(app,), daemon=True).start()
    threading.Thread(target=list_earlier_setups, args=(app,), daemon=True).start()
    _watch(app, settings, parent)


def _is_first(app: Flask, store: Store) -> bool:
    try:
        return store.is_first()
    except StoreError as error:
        app.logger.warning("which worker looks after things is not known: %s", error)
        store.close()
        return False


def _watch(app: Flask, settings: Settings, parent: int) -> None:
    """Look after what is stored. The demo's first look waits for a day,
    so that its start costs nothing more.
    """
    parts, never = app.extensions["zerokeep"], threading.Event()
    first_pause_s = watching.DAY_S if settings.demo else watching.FIRST_PAUSE_S
    certificate = parts.keyring.seal_certificate
    terms = watching.Terms(certificate, settings.tls_certificate)
    audit = partial(audit_apart, settings.database, settings.files_folder, only_new=True)
    renew = partial(_renew, settings, parent)
    watching.watch(audit, terms, parts.now, lambda s: not never.wait(s), first_pause_s, renew)


def _renew(settings: Settings, parent: int, now: datetime) -> None:
    """Renew the server's certificate where that is due, and have a new worker show it; this one ends its
    work.
    """
    if renew_if_due(settings, now):
        os.kill(parent, signal.SIGHUP)


def read_the_past(app: Flask) -> int:
    """Work out the lines of every fixture on every machine once, so that nobody's first sheet waits for a
    long past; how many fixtures.
    """
    parts = app.extensions["zerokeep"]
    try:
        with parts.store.reading():
            everywhere = places(parts.store)
        for place in everywhere:
            preparing.usuals(parts.store, *place)
    except Exception:  # the first sheet says what is wrong
        app.logger.exception("the past was not read ahead")
        return 0
    finally:
        parts.store.close()
    return len(everywhere)


def list_earlier_setups(app: Flask, pause_s: float = SHORT_PAUSE_S) -> int:
    """Let setups from before there was a list be found by what they are; how many were looked at."""
    store = app.extensions["zerokeep"].store
    try:
        return finding.look_at_earlier_setups(store, lambda: time.sleep(pause_s))
    except Exception:
        app.logger.exception("earlier setups are not all found by what they are: the next start goes on")
        return 0
    finally:
        store.close()


def seal_what_is_missing(app: Flask, pause_s: float = PAUSE_S) -> int:
    """Seal the record of every setup that is signed off and has none, one after the other;
    how many were sealed.

    A seal that failed earlier, or was cut off by the end of the server, is made up for here.
    One that fails again is logged, stays on the lead's list and does not keep the others from being tried.
    """
    parts, sealed = app.extensions["zerokeep"], 0
    try:
        for setup in recording.unsealed(parts.store):
            try:
                recording.sealed_pdf(
                    *(parts.store, setup, parts.render, parts.seal),
                    *(parts.keyring.head_signer, parts.now(), parts.renderer),
                )
                sealed += 1
            except Exception:
                app.logger.exception("record of %s not sealed", setup)
            time.sleep(pause_s)
    finally:
        parts.store.close()
    return sealed
