"""`zerokeep demo`: an invented shop with a past, its people's secrets printed, its practice mills open."""

from __future__ import annotations

import shutil

from webapp.clocks import utc_now
from webapp.commands.opening import opened
from webapp.data_folder import make_data_folder
from webapp.demo import starting
from webapp.domain.shop.shop_file import read_shop
from webapp.server.serving import check_port, serve
from webapp.settings import Settings


def demo(settings: Settings) -> int:
    """Make the demo shop if it is not there, print who is who, serve."""
    make_data_folder(settings)
    check_port(settings)
    folder = settings.data_folder
    if not starting.is_made(folder):
        _clear_half_made(settings)
        with opened(settings) as (store, keyring):
            starting.make_demo_shop(folder, store, keyring, utc_now(), say=_say)
    _say_people(settings)
    serve(settings)
    return 0


def _clear_half_made(settings: Settings) -> None:
    """A first start that was broken off left half a demo shop; it is made again from nothing."""
    for path in (settings.records_folder, settings.photos_folder, settings.keys_folder):
        shutil.rmtree(path, ignore_errors=True)
    for path in (settings.data_folder / "zerokeep.db", settings.unlock_path):
        path.unlink(missing_ok=True)


def _say(line: str) -> None:
    print(line, flush=True)


def _say_people(settings: Settings) -> None:
    folder = settings.data_folder
    shop = read_shop((folder / starting.SHOP_FILE).read_text(encoding="utf-8"))
    secrets = starting.people(folder)
    _say(f"\n{shop.rules.name}: an invented shop. Everybody in it and every value is made up.\n")
    _say(f"  {'who':<8} {'role':<15} {'PIN':<8} passphrase")
    for person in shop.people:
        own = secrets[person.id]
        _say(f"  {person.id:<8} {', '.join(person.roles):<15} {own.pin:<8} {own.passphrase}")
    _say(f"\nTablet:         {settings.address}/tablet   (a lead makes its one-time code under Tablets)")
    _say(f"Practice mills: {settings.address}/practice/\n")
