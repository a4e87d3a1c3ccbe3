"""The program `zerokeep`: one parser, one command each in webapp/commands.

What a command needs is imported when it is called: nobody waits for a web server to read `--help`, or for a
database to verify a file. Exit status: 0 done or holds, 1 it does not hold or was refused, 2 called wrongly.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from webapp.arguments import parser

if TYPE_CHECKING:
    from webapp.settings import Settings

DEMO_FOLDER = Path(__file__).resolve().parent.parent / "data" / "demo"
SETTINGS = (
    "data_folder", "host", "port", "trusted_hosts", "tls_certificate", "tls_key", "trusted_proxies",
    "trust_port", "metrics_addresses", "log_lines",
)  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; its exit status. A refusal is printed in words, never as a trace."""
    options = parser().parse_args(arguments)
    try:
        return COMMANDS[options.command](options)
    except KeyboardInterrupt:
        print("Stopped.", file=sys.stderr)
    except Exception as error:
        sentence = _sentence(error)
        if sentence is None:
            raise
        print(sentence, file=sys.stderr)
    return 1


def _sentence(error: Exception) -> str | None:
    """What a refusal says to a person; None for what is none."""
    from webapp.domain.plain.errors import Refusal
    from webapp.words import say

    return say(error.code, error.fields) if isinstance(error, Refusal) else None


def _settings(options: argparse.Namespace, *, demo: bool = False) -> Settings:
    from webapp.settings import read_settings

    given = {name: getattr(options, name, None) for name in SETTINGS}
    if demo:
        given["demo"] = "yes"
        given["data_folder"] = given["data_folder"] or os.environ.get("ZEROKEEP_DATA_FOLDER") or DEMO_FOLDER
    return read_settings(os.environ, given)


def _check(options: argparse.Namespace) -> int:
    from webapp.checking import LINTERS, STEPS, check, keep_by_hook

    if options.hook:
        return keep_by_hook()
    return check(LINTERS if options.linters else STEPS, as_json=options.json)


def _serve(options: argparse.Namespace) -> int:
    from webapp.server.serving import serve

    serve(_settings(options))
    return 0


def _parts(options: argparse.Namespace) -> int:
    from webapp.commands import parts

    return parts.parts(as_json=options.json)


def _demo(options: argparse.Namespace) -> int:
    from webapp.commands import demo

    return demo.demo(_settings(options, demo=True))


def _load(options: argparse.Namespace) -> int:
    from webapp.commands import load

    return load.load(_settings(options), options.file, dry_run=options.dry_run, as_json=options.json)


def _import(options: argparse.Namespace) -> int:
    from webapp.commands import past

    return past.take_in(
        _settings(options),
        options.file,
        dry_run=options.dry_run,
        as_json=options.json,
        all_the_same="every" if "every" in options.all_the_same else options.all_the_same,
    )


def _export(options: argparse.Namespace) -> int:
    from webapp.commands import past

    return past.export(_settings(options), options.file, options.fixture)


def _starter(options: argparse.Namespace) -> int:
    from webapp.commands import shop_file

    return shop_file.starter(options.file)


def _shop_file(options: argparse.Namespace) -> int:
    from webapp.commands import shop_file

    return shop_file.shop_file(_settings(options), options.file)


def _audit(options: argparse.Namespace) -> int:
    from webapp.commands import audit

    return audit.audit(_settings(options), as_json=options.json, only_new=options.new)


def _ledger(options: argparse.Namespace) -> int:
    from webapp.commands import ledger

    return ledger.write_out(_settings(options), after=options.after)


def _head(options: argparse.Namespace) -> int:
    from webapp.commands import head

    settings = _settings(options)
    if options.kept:
        return head.kept(settings, options.kept, as_json=options.json)
    if options.signed:
        return head.signed(settings)
    if options.check is not None:
        return head.check(options.check)
    if options.restored is not None:
        return head.restored(settings, options.restored)
    if options.since is not None:
        return head.prove(settings, options.since)
    return head.head(settings, tuple(options.compare) if options.compare else None, as_json=options.json)


def _backup(options: argparse.Namespace) -> int:
    from webapp.commands import backup, restore

    settings = _settings(options)
    if options.new_key is not None:
        return backup.new_key(settings, options.new_key)
    if options.drill is not None:
        if options.key is None:
            print("Give the key file as well: zerokeep backup --drill FILE --key KEY-FILE", file=sys.stderr)
            return 2
        return restore.drill(settings, options.drill, options.key, as_json=options.json)
    return backup.backup(settings, options.file, as_json=options.json)


def _restore(options: argparse.Namespace) -> int:
    from webapp.commands import restore

    return restore.restore(
        *(_settings(options), options.file, options.key, options.reason), with_faults=options.with_faults
    )


def _certificate(options: argparse.Namespace) -> int:
    from webapp.commands import certificate

    settings = _settings(options)
    match options.what:
        case "make":
            return certificate.make(settings, options.hosts, options.subnet)
        case "renew":
            return certificate.renew(settings, options.hosts, options.authority_key)
        case "take-off":
            return certificate.take_off(settings, options.file)
    return certificate.show(settings)


def _move(options: argparse.Namespace) -> int:
    from webapp.commands import move

    return move.move(_settings(options), options.to)


def _hand_out(options: argparse.Namespace) -> int:
    from webapp.commands import hand_out

    asked = (options.file, options.setup, options.first, options.last)
    return hand_out.hand_out(_settings(options), *asked, as_json=options.json)


def _renew_key(options: argparse.Namespace) -> int:
    from webapp.commands import renew_key, renew_passphrase

    if options.which == "passphrase":
        return renew_passphrase.renew_passphrase(_settings(options))
    return renew_key.renew_key(_settings(options), options.which)


def _renew_seal(options: argparse.Namespace) -> int:
    from webapp.commands import renew_seal

    return renew_seal.renew_seal(_settings(options), as_json=options.json)


def _dispose(options: argparse.Namespace) -> int:
    from webapp.commands import dispose

    return dispose.dispose(
        *(_settings(options), options.older_than, options.by, options.reason), dry_run=options.dry_run
    )


def _erase_name(options: argparse.Namespace) -> int:
    from webapp.commands import erase_name

    return erase_name.erase_name(_settings(options), options.person)


def _secrets(options: argparse.Namespace) -> int:
    from webapp.commands import secrets

    return secrets.secrets(_settings(options), options.person, as_json=options.json)


def _verify(options: argparse.Namespace) -> int:
    from webapp.record.press import Press

    with Press() as press:
        if not options.without_pages:
            press.begin()  # it gets ready while this process reads in what judges the rest
        from webapp.commands import verify

        return verify.verify(
            *(_settings(options), options.file, options.certificate, options.ledger_key),
            additions=options.addition,
            render=None if options.without_pages else partial(press.render, final=True),
            as_json=options.json,
        )


COMMANDS: dict[str, Callable[[argparse.Namespace], int]] = {
    "serve": _serve,
    "demo": _demo,
    "load": _load,
    "starter": _starter,
    "shop-file": _shop_file,
    "import": _import,
    "export": _export,
    "audit": _audit,
    "renew-seal": _renew_seal,
    "renew-key": _renew_key,
    "backup": _backup,
    "restore": _restore,
    "certificate": _certificate,
    "dispose": _dispose,
    "erase-name": _erase_name,
    "secrets": _secrets,
    "verify": _verify,
    "ledger": _ledger,
    "head": _head,
    "move": _move,
    "hand-out": _hand_out,
    "parts": _parts,
    "check": _check,
}


if __name__ == "__main__":
    sys.exit(main())
