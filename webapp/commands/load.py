"""`zerokeep load SHOP.toml`: read a shop's file, say every fault or every change, and apply what differs."""

from __future__ import annotations

import json
import sys
from pathlib import Path

from webapp.chance import first_secret
from webapp.clocks import utc_now
from webapp.commands import first_look
from webapp.commands.opening import opened
from webapp.domain.plain.errors import Finding
from webapp.domain.shop.faults_between import seatings_to_come
from webapp.domain.shop.shop_file import ShopFileError, read_shop
from webapp.domain.shop.told_shop import Shop
from webapp.services.evidence.ledger import SERVER
from webapp.services.shop import loading
from webapp.services.shop.loading import Change
from webapp.services.times import utc_text
from webapp.settings import Settings
from webapp.words import say

DONE, FAULTS, NO_FILE = 0, 1, 2


def load(settings: Settings, path: Path, *, dry_run: bool, as_json: bool) -> int:
    """Apply the file to the data folder of the settings, or with `dry_run` only say what would change."""
    try:
        text = path.read_text(encoding="utf-8")
        shop = _begun(read_shop(text))
    except (OSError, UnicodeDecodeError) as error:
        print(f"Cannot read {path}: {error}. Give the path of a shop file.", file=sys.stderr)
        return NO_FILE
    except ShopFileError as error:
        _say_faults(path, error, as_json=as_json)
        return FAULTS
    try:
        changes = _apply(settings, shop, dry_run=dry_run)
    except ShopFileError as error:
        _say_faults(path, error, as_json=as_json)
        return FAULTS
    if dry_run and not as_json:
        print("\n".join(first_look.lines(shop, text)))
    _say_changes(changes, _looked_at(shop, text) if dry_run else {}, dry_run=dry_run, as_json=as_json)
    return DONE


def _begun(shop: Shop) -> Shop:
    """The shop, if all its seatings have begun. Raises ShopFileError."""
    if to_come := seatings_to_come(shop, utc_text(utc_now())):
        raise ShopFileError(to_come)
    return shop


def _looked_at(shop: Shop, text: str) -> dict[str, list[dict[str, str]]]:
    """What a dry run says of the file besides its changes, as plain JSON."""
    found = {
        "left_out": first_look.places_left_out(text),
        "look_once_more": first_look.doubted_places(shop),
    }
    return {
        name: [{"place": place, "detail": words} for place, words in places] for name, places in found.items()
    }


def _apply(settings: Settings, shop: Shop, *, dry_run: bool) -> list[Change]:
    with opened(settings) as (store, keyring):
        return loading.load(store, shop, SERVER, utc_now(), first_secret, keyring, dry_run=dry_run)


def _say_faults(path: Path, error: ShopFileError, *, as_json: bool) -> None:
    lines = [(str(fault.fields.get("place", "")), _words(fault)) for fault in error.faults]
    if as_json:
        faults = [
            {"code": fault.code, "place": place, "detail": words}
            for fault, (place, words) in zip(error.faults, lines, strict=True)
        ]
        print(json.dumps({"file": str(path), "faults": faults}, ensure_ascii=False, indent=1))
        return
    print(f"{path}: {len(lines)} to mend. Nothing was changed.", file=sys.stderr)
    for place, words in lines:
        print(f"  {place}: {words}" if place else f"  {words}", file=sys.stderr)


def _words(fault: Finding) -> str:
    return say(fault.code, fault.fields)


def _say_changes(
    changes: list[Change], looked_at: dict[str, list[dict[str, str]]], *, dry_run: bool, as_json: bool
) -> None:
    if dry_run:
        for change in changes:
            change.pop("secrets", None)
    if as_json:
        said = {"dry_run": dry_run, "changes": changes, **looked_at}
        print(json.dumps(said, ensure_ascii=False, indent=1))
        return
    if not changes:
        print("Nothing differs. Nothing was changed.")
        return
    print("Would change:" if dry_run else "Changed:")
    for change in changes:
        print(f"  {change['type']:<32} {change['subject']}")
    if not dry_run:
        _say_secrets(changes)


def _say_secrets(changes: list[Change]) -> None:
    new = [change for change in changes if "secrets" in change]
    if not new:
        return
    print("\nFirst secrets, shown this once and good for a week. Hand each to its person alone;")
    print("it opens one page, on which the person chooses a passphrase and a PIN of their own.")
    for change in new:
        print(f"  {change['subject']:<12} {change['secrets']['passphrase']}")
