"""How long a sheet's limits take after a long past, and the trends page, beside a bare mean and standard
deviation.

Start it by hand: python tests/bench/bench_limits.py [values on a sheet] [values on a page]. It prints times
and ratios of one run and asserts nothing: times of one run on one machine compare only with each other.

Beside what: mean and sample standard deviation of the same numbers by Python's statistics module, exact as
ours.
"""

import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.kit.clock import Clock
from tests.kit.house import House
from tests.kit.past import keep_past, setup_id
from tests.kit.shop import CENTRES_NM, fixed_keyring
from tests.web.conftest import make_site
from webapp.services.numbers import seatings
from webapp.services.sheets import preparing

AXES = ("X", "Y", "Z")


def values(axis: str, count: int) -> list[int]:
    chance = random.Random(17)
    return [CENTRES_NM[axis] + round(chance.gauss(0, 6)) * 1000 for _ in range(count)]


def milliseconds(run: Callable[[], Any], times: int = 5) -> list[float]:
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        taken.append(1000 * (time.perf_counter() - start))
    return taken


def bare(lists: list[list[int]]) -> None:
    for one in lists:
        statistics.mean(one)
        statistics.stdev(one)


def limits(folder: Path, count: int) -> None:
    """Limits of all three axes, `count` values each."""
    house = House(folder)
    lists = [values(axis, count) for axis in AXES]
    for axis, one in zip(AXES, lists, strict=True):
        keep_past(house, one, axis, each=timedelta(minutes=20))
    beside = statistics.median(milliseconds(lambda: bare(lists), 3))
    first = milliseconds(lambda: preparing.usuals(house.store, "mill-1"), 1)[0]
    again = statistics.median(milliseconds(lambda: preparing.usuals(house.store, "mill-1")))

    def after_a_change() -> None:
        seatings.leave_out(house.store, setup_id(1), "X", "A chip.", "ines", house.clock())
        preparing.usuals(house.store, "mill-1")

    changed = statistics.median(milliseconds(after_a_change, 3))

    def sheet() -> None:
        house.clock.forward(minutes=2)
        house.sheet()

    sheet()
    whole = statistics.median(milliseconds(sheet))
    print(
        f"limits of 3 axes of {count} values each; bare mean and standard deviation of them: {beside:.1f} ms"
    )
    for name, taken in (
        ("read for the first time", first),
        ("with nothing changed", again),
        ("after one value was left out", changed),
        ("a whole sheet compiled anew", whole),
    ):
        print(f"  {name:30} {taken:8.1f} ms, ratio to bare {taken / beside:.3f}")


def page(folder: Path, count: int) -> None:
    """The trends page of one axis with `count` values, through the whole application."""
    keys = folder / "ring"
    keys.mkdir()
    site = make_site(folder / "site", (keys, fixed_keyring(keys / "keys", Clock())))
    one = values("X", count)
    keep_past(site.house, one, each=timedelta(minutes=20))
    lead = site.signed_in("ines")
    beside = statistics.median(milliseconds(lambda: bare([one]), 3))
    print(f"trends page of {count} values; bare mean and standard deviation of them: {beside:.1f} ms")
    cold = milliseconds(lambda: lead.page("/desk/fixtures/vise-b/X"), 1)[0]
    first = milliseconds(lambda: lead.page("/desk/fixtures/vise-a/X"), 1)[0]

    def drawn_anew() -> None:
        seatings.leave_out(
            site.house.store, setup_id(2), "X", f"{time.perf_counter()}", "ines", site.house.clock()
        )
        lead.page("/desk/fixtures/vise-a/X")
        seatings.take_in(site.house.store, setup_id(2), "X", "Back.", "ines", site.house.clock())
        lead.page("/desk/fixtures/vise-a/X")

    anew = statistics.median(milliseconds(drawn_anew, 3)) / 2
    again = statistics.median(milliseconds(lambda: lead.page("/desk/fixtures/vise-a/X")))
    matters = statistics.median(
        milliseconds(lambda: lead.page("/desk/fixtures/vise-a/X/matters?ask=50&stop=900"), 3)
    )
    size = len(lead.page("/desk/fixtures/vise-a/X"))
    for name, taken in (
        ("a page without a chart", cold),
        ("first chart, library loaded", first),
        ("chart drawn anew", anew),
        ("chart drawn before", again),
        ("when it matters, looked at", matters),
    ):
        print(f"  {name:30} {taken:8.1f} ms, ratio to bare {taken / beside:.2f}")
    print(f"  the page has {size / 1000:.0f} kB")


if __name__ == "__main__":
    typed = [int(one) for one in sys.argv[1:]]
    on_a_sheet, on_a_page = [*typed, *(100_000, 10_000)[len(typed) :]][:2]
    with tempfile.TemporaryDirectory() as place:
        for room in ("limits", "site"):
            (Path(place) / room).mkdir()
        limits(Path(place) / "limits", on_a_sheet)
        page(Path(place), on_a_page)
