"""Cost against machines and years: a table, and the same as a picture beside it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from tests.long.growing import built, large_shop, measuring
from tests.long.growing.asked import Asking
from tests.long.growing.large_shop import Size
from tests.long.growing.measuring import Meter

HERE = Path(__file__).parents[1]
PICTURE, TABLE = HERE / "grown.svg", HERE / "grown_by_machines_and_years.md"
MACHINES, YEARS = (1, 10, 100), (1, 3, 10)
SETUPS_A_MACHINE_AND_YEAR = 20
PAGES = ("board.machines", "desk.queue", "desk.setups", "desk.setup", "fixtures.overview", "fixtures.trends",
         "registers.machines")  # fmt: skip
CALLS = ("api.events: a whole setup", "api.news, nothing changed", "deciding.sign_off")


@dataclass(frozen=True)
class Point:
    """A shop, and what was asked of it costs in milliseconds of processor."""

    machines: int
    years: int
    setups: int
    ms: dict[str, float]


def run(folder: Path) -> int:
    """Measure all shops, and keep the table and the picture."""
    points = [_point(folder, machines, years) for machines in MACHINES for years in YEARS]
    TABLE.write_text(table(points), encoding="utf-8")
    draw(points)
    print(TABLE.read_text(encoding="utf-8"))
    return 0


def _point(folder: Path, machines: int, years: int) -> Point:
    here, setups = folder / f"{machines}-machines-{years}-years", machines * years * SETUPS_A_MACHINE_AND_YEAR
    if not built.made(here):
        shutil.rmtree(here, ignore_errors=True)
        people = machines * large_shop.OWNERS + 20
        built.build(here, Size(machines, people, walkers=2), setups, years)
    with measuring.site_on(here) as site:
        asking, meter = Asking(site, machines), Meter(site)
        pages, calls = asking.pages(setups), asking.calls()
        ms = {name: measuring.least(meter, asking.page(pages[name])).ms for name in PAGES}
        for name in CALLS:
            ms[name] = min(meter.cost(calls[name]()).ms for _ in range(measuring.CALL_TRIES))
        return Point(machines, years, setups, ms)


def table(points: list[Point]) -> str:
    """The table with a line for each page or call and number of machines, and a column for each year."""
    lines = [
        "# Cost against machines and years",
        "",
        f"`python -m tests.long grow --years`: {SETUPS_A_MACHINE_AND_YEAR} setups a machine and year, all of",
        "a machine in one seating; milliseconds of the server's processor, the least of some tries on a",
        f"shared machine. The same as a picture: `{PICTURE.name}`.",
        "",
        f"| page or call | machines | {' | '.join(f'{years} years' for years in YEARS)} | times |",
        f"| --- | --- | {'--- | ' * (len(YEARS) + 1)}",
    ]
    for name in (*PAGES, *CALLS):
        for machines in MACHINES:
            ms = [one.ms[name] for one in points if one.machines == machines]
            told = " | ".join(f"{one:.1f}" for one in ms)
            lines.append(f"| {name} | {machines} | {told} | {ms[-1] / ms[0]:.2f} |")
    return "\n".join([*(line.rstrip() for line in lines), ""])


def draw(points: list[Point]) -> None:
    """The picture: a panel for each page or call, a line for each number of machines."""
    from matplotlib import rc_context  # noqa: PLC0415 - slow to load
    from matplotlib.figure import Figure  # noqa: PLC0415

    names = (*PAGES, *CALLS)
    with rc_context({"svg.hashsalt": "grown", "svg.fonttype": "none", "font.size": 8}):
        figure = Figure(figsize=(10, 8), layout="constrained")
        for panel, name in zip(figure.subplots(4, 3).flat, names, strict=False):
            for machines, line in zip(MACHINES, ("-o", "--s", ":^"), strict=True):
                some = [one for one in points if one.machines == machines]
                panel.plot([one.years for one in some], [one.ms[name] for one in some], line, color="black",
                           label=f"{machines} machine{'s' * (machines > 1)}")  # fmt: skip
            panel.set(title=name, xlabel="years", ylabel="ms", xticks=YEARS, yscale="log")
        for panel in figure.axes[len(names) :]:
            panel.set_axis_off()
        figure.axes[len(names)].legend(*figure.axes[0].get_legend_handles_labels(), loc="center")
        figure.savefig(PICTURE, format="svg", metadata={"Date": None})
