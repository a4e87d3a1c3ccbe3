"""How fast the tablet is at four times slower a processor:
from tap to painted step, and a start without server.

Run it by hand: `python -m tests.bench.bench_tablet [WALKS]`. It prints what each walk measured and asserts
nothing about time; where other programs run beside it, the page's own processor time says more. Limits of
people: 0.1 s feels instant, 1 s keeps the flow (Nielsen 1993, from memory).
"""

from __future__ import annotations

import gzip
import sys
import tempfile
import time
from pathlib import Path
from urllib.request import urlopen

from playwright.sync_api import BrowserContext, CDPSession, Page, sync_playwright

from tests.kit.chromium import PORTRAIT, Profile
from tests.kit.demo import Demo, make_demo
from tests.kit.server import Server
from tests.kit.tablet import Tablet, operator

SLOWDOWN = 4
STARTS = 10
# From the tap on the primary action to the frame after the one in which the next step stands.
WATCH = """() => {
  self.paints = [];
  let tapped = null;
  const root = document.getElementById('app');
  addEventListener('click', event => {
    if (event.target.closest('.go')) tapped = [performance.now(), root.dataset.step];
  }, true);
  new MutationObserver(() => {
    if (!tapped || root.dataset.step === tapped[1]) return;
    const [at] = tapped;
    tapped = null;
    requestAnimationFrame(() => setTimeout(() => paints.push(performance.now() - at)));
  }).observe(root, {attributes: true, attributeFilter: ['data-step']});
}"""


def slow(context: BrowserContext, page: Page) -> None:
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": SLOWDOWN})


def line(name: str, values: list[float]) -> str:
    """Median, 95th percentile and largest of some measured milliseconds."""
    ordered = sorted(values)
    p50, p95 = (ordered[min(len(ordered) - 1, int(part * len(ordered)))] for part in (0.5, 0.95))
    return (
        f"{name:<44} n={len(ordered):<4} p50 {p50:7.1f} ms   p95 {p95:7.1f} ms   most {ordered[-1]:7.1f} ms"
    )


def shell_bytes(address: str) -> tuple[int, int]:
    """How many files a tablet keeps for working offline, and their bytes, text compressed as on the way."""
    listing = urlopen(f"{address}/sw.js").read().decode()  # noqa: S310
    files = [
        part for part in listing.split("const FILES = ")[1].split("]")[0].split('"') if part.startswith("/")
    ]
    bodies = [(name, urlopen(f"{address}{name}").read()) for name in files]  # noqa: S310
    return len(files), sum(
        len(body) if name.endswith((".woff2", ".png")) else len(gzip.compress(body)) for name, body in bodies
    )


def page_processor_ms(session: CDPSession) -> float:
    """Processor time of the page's own thread so far: its scripts, styles, layouts and paints."""
    metrics = session.send("Performance.getMetrics")["metrics"]
    return float(next(one["value"] for one in metrics if one["name"] == "TaskDuration") * 1000)


def measure(folder: Path, walks: int) -> list[str]:
    """Walk setups, then start again and again on what the tablet holds, the server being gone."""
    demo = Demo(make_demo(folder))
    server = Server(folder)
    server.start()
    lines = ["{} files, {} bytes compressed".format(*shell_bytes(server.address))]
    with sync_playwright() as playwright:
        profile = Profile(playwright, folder / "profile", PORTRAIT)
        tablet = Tablet(profile.open().new_page(), server.address)
        tablet.enrol(demo.code())
        slow(tablet.page.context, tablet.page)
        session = tablet.page.context.new_cdp_session(tablet.page)
        session.send("Performance.enable", {"timeDomain": "threadTicks"})
        tablet.page.evaluate(WATCH)
        for number in range(walks):
            tablet.begin("plover", "odile")
            before = page_processor_ms(session)
            odile = operator(tablet, demo)
            odile.walk(until="stow.up")
            paints = tablet.page.evaluate("() => paints.splice(0)")
            worked = (page_processor_ms(session) - before) / len(paints)
            taps = line(f"tap to next step painted, walk {number + 1}", paints)
            lines.append(f"{taps}   page {worked:6.1f} ms a step")
            if number + 1 < walks:
                odile.walk()
                tablet.page.evaluate("() => paints.splice(0)")
                tablet.tap("another")
        server.kill()
        lines.append(
            line("start without server to the step on the screen", cold_starts(profile, server.address))
        )
        profile.close()
    return lines


def cold_starts(profile: Profile, address: str) -> list[float]:
    """Milliseconds from asking for the page to the step that takes taps, each in a browser started anew."""
    found = []
    for _ in range(STARTS):
        profile.close()
        page = profile.open().new_page()
        slow(page.context, page)
        began = time.perf_counter()
        page.goto(f"{address}/tablet")
        page.wait_for_selector('#app[data-screen="step"]')
        found.append((time.perf_counter() - began) * 1000)
    return found


if __name__ == "__main__":
    walks = int(sys.argv[1]) if len(sys.argv) > 1 else 3
    with tempfile.TemporaryDirectory() as made:
        sys.stdout.write(
            "\n".join([f"at {SLOWDOWN} times slower a processor:", *measure(Path(made), walks), ""])
        )
