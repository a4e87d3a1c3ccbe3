"""The demo shop's own shop file, with its dates counted from the day that the demo starts."""

import re
from datetime import date, timedelta
from pathlib import Path

SHOP_FILE = Path(__file__).with_name("shop.toml")
DAY = re.compile(r"DAY([+-][0-9]+)")


def demo_shop_text(today: date) -> str:
    """The shop file as `zerokeep load` takes it: DAY+n and DAY-n replaced by dates counted from `today`."""
    written = SHOP_FILE.read_text(encoding="utf-8")
    filled = DAY.sub(lambda match: (today + timedelta(days=int(match.group(1)))).isoformat(), written)
    return filled.replace(
        (
            f"# {(today - timedelta(days=45)).isoformat()} and "
            f"{(today + timedelta(days=120)).isoformat()} stand for"
        ),
        "# DAY-45 and DAY+120 stood for",
    )
