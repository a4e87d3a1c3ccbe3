"""The demo shop's own shop file, with its dates counted from the day that the demo starts.

Rules: the file is a sound shop file as it lies, with the days of a demo that starts on `WRITTEN_FOR`; only
the days that a right, a slot or a seating has, and that one in its head, are moved, all by as much.
"""

import re
from datetime import date
from pathlib import Path

SHOP_FILE = Path(__file__).with_name("shop.toml")
WRITTEN_FOR = date(2026, 11, 1)
DAY = re.compile(r"\b(since =|until =|starts on) ([0-9]{4}-[0-9]{2}-[0-9]{2})")


def demo_shop_text(today: date) -> str:
    """The shop file for a demo that starts `today`: as it lies on WRITTEN_FOR, else its days moved."""
    moved = today - WRITTEN_FOR
    written = SHOP_FILE.read_text(encoding="utf-8")
    return DAY.sub(lambda found: f"{found[1]} {date.fromisoformat(found[2]) + moved}", written)
