"""What can be typed after `zerokeep`: one parser, which needs nothing but Python's own library."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from webapp import VERSION

COLUMNS = """columns, in any order under a header line:
  at_utc      a day (2026-09-03) or a time with its zone (2026-09-04T07:40:00Z)
  machine, fixture, seating   the short names that the shop gave them
  x_mm y_mm z_mm, or x_in y_in z_in   the surface as the control shows it,
  in machine coordinates; at least one
  person, setup, note, left_out       may be left out; left_out is written "X: a chip | Y: a burr"
Cells are parted by commas, semicolons or tabs; decimals stand after a point or a comma.
Each line is one past setup.
A line whose values lie far from where its seating lies is asked about and not taken, unless you name it."""


def parser() -> argparse.ArgumentParser:
    """The parser of all commands: `command` is the one that was called."""
    whole = argparse.ArgumentParser(
        prog="zerokeep",
        description=(
            "Finding the vise of a shared mill with a spindle probe: walked through, checked, signed, kept."
        ),
    )
    whole.add_argument("--version", action="version", version=f"zerokeep {VERSION}")
    commands = whole.add_subparsers(dest="command", required=True, metavar="COMMAND")
    _add_serving(commands.add_parser("serve", help="serve a shop from its data folder"))
    _add_serving(commands.add_parser("demo", help="make an invented shop with a past, and serve it"))
    load = commands.add_parser("load", help="load machines, fixtures, probes, people and slots from a file")
    load.add_argument("file", type=Path, metavar="SHOP.toml")
    load.add_argument(
        "--dry-run", action="store_true", help="say every fault and every change, alter nothing"
    )
    _add_common(load)
    start = commands.add_parser("starter", help="write a shop file to fill in, with a line on each field")
    start.add_argument("file", type=Path, metavar="SHOP.toml")
    written = commands.add_parser("shop-file", help="write the whole shop out as a shop file")
    written.add_argument("file", type=Path, metavar="SHOP.toml")
    written.add_argument("--data-folder", help="where the shop's data lies")
    _add_past(commands)
    audit = commands.add_parser("audit", help="work out again all that is stored, and say what does not fit")
    audit.add_argument(
        "--new", action="store_true", help="only what came since the last audit; all of it once in seven days"
    )
    _add_common(audit)
    _add_keeping(commands)
    _add_certificate(commands)
    _add_people(commands)
    _add_verify(commands)
    out = commands.add_parser(
        "ledger", help="print the changes on the ledger, one a line, for another computer"
    )
    out.add_argument("--after", type=int, default=-1, metavar="POSITION", help="only those behind this entry")
    out.add_argument("--data-folder", help="where the shop's data lies")
    now = commands.add_parser(
        "head", help="the ledger's head, to print or mail, or whether it still has one that was kept"
    )
    which = now.add_mutually_exclusive_group()
    which.add_argument(
        "--compare", nargs=2, metavar=("SIZE", "ROOT"), help="a head from a record, a mail, a print"
    )
    which.add_argument(
        "--since", type=int, metavar="SIZE", help="the proof that it only grew since that size"
    )
    which.add_argument(
        "--kept",
        type=Path,
        action="append",
        metavar="HEAD.txt",
        help="a signed head that was kept; twice: whether two of them are of one ledger that grew",
    )
    which.add_argument("--signed", action="store_true", help="print the head of now as a signed note")
    which.add_argument("--check", type=Path, metavar="PROOF.json", help="such a proof, without a server")
    which.add_argument(
        "--restored", metavar="REASON", help="a backup was brought back: keep this ledger's head from now on"
    )
    _add_common(now)
    elsewhere = commands.add_parser(
        "move", help="carry the whole shop into another database; stop the server first"
    )
    elsewhere.add_argument(
        "--to", required=True, metavar="ADDRESS", help="a new file's path, or postgresql://ROLE@HOST/DATABASE"
    )
    elsewhere.add_argument("--data-folder", help="where the shop's data lies")
    _add_handing_out(commands.add_parser("hand-out", help="evidence in one file, for somebody outside"))
    made_of = commands.add_parser("parts", help="what the program is made of, beside what was pinned")
    made_of.add_argument("--json", action="store_true", help="print it as a CycloneDX bill of materials")
    check = commands.add_parser("check", help="linters, types, import contracts, tests")
    check.add_argument("--json", action="store_true", help="print the result as JSON")
    check.add_argument("--linters", action="store_true", help="without the tests")
    check.add_argument("--hook", action="store_true", help="run the linters before each commit from now on")
    return whole


def _add_people(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    anew = commands.add_parser("secrets", help="give a person first secrets, on the server's own machine")
    anew.add_argument("person", metavar="PERSON", help="the person's id, as it is typed at sign-in")
    _add_common(anew)
    erase = commands.add_parser("erase-name", help="erase the name of a person whose account is out of use")
    erase.add_argument("person", metavar="PERSON", help="the person's id, which stays")
    erase.add_argument("--data-folder", help="where the shop's data lies")


def _add_verify(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    verify = commands.add_parser("verify", help="say what holds of a sealed record")
    verify.add_argument("file", type=Path, metavar="RECORD.pdf")
    verify.add_argument(
        "--certificate",
        type=Path,
        action="append",
        default=[],
        help="the seal's certificate (PEM), may be repeated",
    )
    verify.add_argument(
        "--ledger-key",
        type=Path,
        action="append",
        default=[],
        metavar="KEYS.txt",
        help="the keys of the shop's ledger, may be repeated",
    )
    verify.add_argument(
        "--addition",
        type=Path,
        action="append",
        default=[],
        metavar="ADDITION.txt",
        help="what was added to the record after it was sealed, as the shop hands it out; may be repeated",
    )
    verify.add_argument(
        "--without-pages",
        action="store_true",
        help="judge seal, events and ledger alone: printing the pages again takes longer than all of that",
    )
    _add_common(verify)


def _add_handing_out(command: argparse.ArgumentParser) -> None:
    command.add_argument("file", type=Path, metavar="FILE.zip")
    command.add_argument("--setup", metavar="ID", help="one setup")
    command.add_argument("--first", type=date.fromisoformat, metavar="DAY", help="the first day, 2026-11-02")
    command.add_argument("--last", type=date.fromisoformat, metavar="DAY", help="the last day, which counts")
    _add_common(command)


def _add_serving(command: argparse.ArgumentParser) -> None:
    command.add_argument("--data-folder", help="where the shop's data lies")
    command.add_argument("--host", help="the address to listen at (127.0.0.1)")
    command.add_argument("--port", help="the port to listen at (8420)")
    command.add_argument(
        "--trusted-hosts", help="names by which tablets and desks call this server, with commas"
    )
    command.add_argument("--tls-certificate", help="a certificate file, to serve by TLS")
    command.add_argument("--tls-key", help="its key file")
    command.add_argument(
        "--trusted-proxies", help="addresses of proxies whose X-Forwarded-For and -Proto count, with commas"
    )
    command.add_argument(
        "--trust-port", help="the port of the page on how to trust the shop's own certificate"
    )
    command.add_argument(
        "--metrics-addresses", help="addresses that may fetch /metrics besides this computer, with commas"
    )
    command.add_argument("--log-lines", help="text, or json for a log of one object in each line")


def _add_certificate(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    whole = commands.add_parser(
        "certificate", help="the shop's own certificate authority, for TLS on its network"
    )
    what = whole.add_subparsers(dest="what", required=True, metavar="WHAT")
    make = what.add_parser("make", help="make an authority for these hosts alone, and a certificate from it")
    make.add_argument("hosts", nargs="+", metavar="HOST", help="a name or an address of the server")
    make.add_argument(
        "--subnet", action="append", default=[], help="addresses that the server may move to, may be repeated"
    )
    renew = what.add_parser("renew", help="a new certificate, for other hosts if any are given")
    renew.add_argument("hosts", nargs="*", metavar="HOST", help="in the place of the former ones")
    renew.add_argument(
        "--authority-key", type=Path, metavar="FILE", help="the authority's key, if it was taken off"
    )
    take_off = what.add_parser("take-off", help="move the authority's key to a file, to be locked away")
    take_off.add_argument("file", type=Path, metavar="FILE")
    for one in (make, renew, take_off, what.add_parser("show", help="say what there is")):
        one.add_argument("--data-folder", help="where the shop's data lies")


def _add_past(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    take_in = commands.add_parser(
        "import",
        help="take past values in from a table (CSV)",
        epilog=COLUMNS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    take_in.add_argument("file", type=Path, metavar="FILE.csv")
    take_in.add_argument("--dry-run", action="store_true", help="say what would be taken in, alter nothing")
    take_in.add_argument(
        "--all-the-same",
        action="append",
        default=[],
        type=_line_or_every,
        metavar="LINE",
        help="take this line though it is asked about, may be repeated; or the word every",
    )
    _add_common(take_in)
    export = commands.add_parser("export", help="write all kept values into a table (CSV)")
    export.add_argument("file", type=Path, metavar="FILE.csv")
    export.add_argument("--fixture", help="only the values of this fixture")
    export.add_argument("--data-folder", help="where the shop's data lies")


def _add_keeping(commands: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    _add_common(commands.add_parser("renew-seal", help="a new key and certificate for the seal on records"))
    renew = commands.add_parser("renew-key", help="a new key of receipts, PINs or heads; another passphrase")
    renew.add_argument("which", choices=("receipts", "pins", "heads", "passphrase"))
    renew.add_argument("--data-folder", help="where the shop's data lies")
    backup = commands.add_parser("backup", help="everything in one encrypted file, while the server runs")
    what = backup.add_mutually_exclusive_group(required=True)
    what.add_argument("file", type=Path, nargs="?", metavar="FILE", help="a new file for the backup")
    what.add_argument(
        "--new-key", type=Path, metavar="KEY-FILE", help="make the key that opens backups from now on"
    )
    what.add_argument(
        "--drill", type=Path, metavar="FILE", help="try whether this backup can be brought back"
    )
    backup.add_argument("--key", type=Path, metavar="KEY-FILE", help="the key that opens it, for --drill")
    _add_common(backup)
    restore = commands.add_parser("restore", help="bring a backup back into a folder that is not there yet")
    restore.add_argument("file", type=Path, metavar="FILE")
    restore.add_argument("--key", type=Path, metavar="KEY-FILE", required=True, help="the key that opens it")
    restore.add_argument("--reason", required=True, help="why; it stands on the ledger, and tablets show it")
    restore.add_argument(
        "--with-faults", action="store_true", help="even where an audit of it finds something"
    )
    restore.add_argument("--data-folder", help="where the shop's data shall lie")
    dispose = commands.add_parser("dispose", help="take old sealed records away; hashes stay on the ledger")
    dispose.add_argument("--older-than", type=int, required=True, metavar="YEARS", help="sealed by then")
    dispose.add_argument("--by", metavar="LEAD", help="the id of the lead who decided it")
    dispose.add_argument("--reason", help="why; it stands on the ledger")
    dispose.add_argument("--dry-run", action="store_true", help="say which, alter nothing")
    dispose.add_argument("--data-folder", help="where the shop's data lies")


def _line_or_every(text: str) -> int | str:
    return text if text == "every" else int(text)


def _add_common(command: argparse.ArgumentParser) -> None:
    command.add_argument("--data-folder", help="where the shop's data lies")
    command.add_argument("--json", action="store_true", help="print the result as JSON")
