"""How long a record takes to be printed and sealed, beside other pages made in the same warm process.

Start it by hand: python tests/bench/bench_pdf.py [rounds]. It prints ratios of medians of one run and asserts
nothing: times of one run on one machine compare only with each other. Rounds take turns, so that a busy
moment hits all alike; where other programs run beside it, the processor's time of this process says more. It
leaves out what the press, a process of its own, works.

Beside what:
- a page of one line by the bare renderer, with nothing set;
- the record's own two pages by the bare renderer:
  the same text and style sheet, everything read anew each time.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from weasyprint import CSS, HTML
from weasyprint.text.fonts import FontConfiguration

from tests.proof.made_up import CHEAP, PASSPHRASE, counted_bytes, numbered_keys
from tests.record.made_up import normal
from webapp.domain.record.facts import record_facts
from webapp.fonts import font_files
from webapp.proof.keys.key_ring import KeyRing
from webapp.proof.pdf.pdf_seal import seal
from webapp.record import render
from webapp.record.fetcher import BUNDLED, BundledFetcher
from webapp.record.page import FONTS, TEMPLATES, typesetter
from webapp.record.press import Press


def made_keyring(folder: Path) -> KeyRing:
    return KeyRing.create(folder, PASSPHRASE, common_name="Bench", now=datetime(2026, 11, 25, tzinfo=UTC),
                          new_key=numbered_keys(), random_bytes=counted_bytes(), cost=CHEAP)  # fmt: skip


def ways(keyring: KeyRing, press: Press) -> dict[str, Callable[[], object]]:
    bundle = normal().bundle()
    text = typesetter().html(record_facts(bundle, final=True), bundle, final=True)
    drawn = render(bundle)

    def bare_record() -> object:
        fetcher = BundledFetcher({f"{name}.ttf": font_files()[name].read_bytes() for name in FONTS})
        fonts = FontConfiguration()
        style = CSS(string=(TEMPLATES / "record.css").read_text(), font_config=fonts, url_fetcher=fetcher,
                    base_url=BUNDLED)  # fmt: skip
        return HTML(string=text, url_fetcher=fetcher, base_url=BUNDLED).write_pdf(
            stylesheets=[style], font_config=fonts
        )

    def sealed(pdf: bytes) -> bytes:
        return seal(pdf, keyring, "2026-11-25T09:30:00.000Z", "Bench", "Reviewed and accepted")

    return {
        "bare, one line": lambda: HTML(string="<p>One line.</p>").write_pdf(),
        "bare, the record's pages": bare_record,
        "record printed": lambda: render(bundle),
        "record sealed": lambda: sealed(drawn),
        "record printed and sealed": lambda: sealed(render(bundle)),
        "the same through the press": lambda: sealed(press.render(bundle, final=True)),
    }


def main(rounds: int) -> None:
    with tempfile.TemporaryDirectory() as folder, Press() as press:
        todo = ways(made_keyring(Path(folder) / "keys"), press)
        seconds: dict[str, list[float]] = {name: [] for name in todo}
        processor: dict[str, list[float]] = {name: [] for name in todo}
        for number in range(rounds + 1):
            for name, way in todo.items():
                start, worked = time.perf_counter(), time.process_time()
                way()
                if number:  # the first round only warms up
                    seconds[name].append(time.perf_counter() - start)
                    processor[name].append(time.process_time() - worked)
    say_multiples(rounds, "by the clock", seconds)
    say_multiples(rounds, "processor of this process", processor)


def say_multiples(rounds: int, by: str, taken: dict[str, list[float]]) -> None:
    medians = {name: statistics.median(found) for name, found in taken.items()}
    print(f"{rounds} rounds, {by}; medians, and as multiples of two of them")
    for name, median in medians.items():
        line, page = median / medians["bare, one line"], median / medians["bare, the record's pages"]
        print(
            f"{name:28} {median * 1000:8.1f} ms   {line:6.1f} x one line   {page:5.2f} x the record's pages, "
            "bare"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
