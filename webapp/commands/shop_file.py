"""`zerokeep starter FILE` and `zerokeep shop-file FILE`: one to fill in, and the shop as one."""

from __future__ import annotations

import sys
from pathlib import Path

from webapp import field_words
from webapp.clocks import utc_now
from webapp.commands.opening import looked_into
from webapp.domain.shop.shop_text import starter as starter_text
from webapp.domain.shop.shop_text import write_shop
from webapp.services.errors import NoShopYet
from webapp.services.shop.as_file import shop_of
from webapp.settings import Settings
from webapp.words import say

DONE, NOTHING, NO_FILE = 0, 1, 2


def starter(path: Path) -> int:
    """Write a shop file with a line on each field, to be filled in."""
    heading = [say("shop_file.starter_heading", {"file": path.name}), say("shop_file.lengths")]
    return _written(path, starter_text(field_words.in_file, heading, utc_now().date()))


def shop_file(settings: Settings, path: Path) -> int:
    """Write the shop of a data folder as a shop file."""
    with looked_into(settings) as store:
        if store is None:
            return NOTHING
        try:
            text = write_shop(shop_of(store), field_words.in_file)
        except NoShopYet as error:
            print(say(error.code, error.fields), file=sys.stderr)
            return NOTHING
    return _written(path, text)


def _written(path: Path, text: str) -> int:
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except OSError as error:
        print(f"Cannot write {path}: {error.strerror}. Give the path of a file that is not there yet.",
              file=sys.stderr)  # fmt: skip
        return NO_FILE
    print(f"Written: {path}")
    return DONE
