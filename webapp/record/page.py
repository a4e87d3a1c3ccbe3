"""From a record's bundle to the bytes of its PDF.

Rules of this module:
- The same bundle gives the same bytes, in every process: dates come from the record, the identifier from its
  fingerprint, fonts from the program. (Another version of the renderer or of a font may give others; the
  record names the versions.)
- PDF/A-3a (ISO 19005-3): tagged, with a language and a title, all fonts embedded,
  the data attached as files whose relation to the page is stated.
- Nothing is fetched: fonts and style sheet came with the program, attachments are bytes.
- What a person typed reaches the page through a template that escapes, never as markup.
- A character that no font here can draw is never left out: it is printed as its code point, such as [U+AE40].
- Style sheet and fonts are read once for a process: reading them again costs more than a page.
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from functools import cached_property, lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from weasyprint import CSS, HTML, Attachment
from weasyprint.logger import LOGGER
from weasyprint.text.fonts import FontConfiguration

from webapp.domain.plain.directions import shown_value
from webapp.domain.plain.errors import Finding
from webapp.domain.record.bundle import RecordBundle
from webapp.domain.record.facts import record_facts
from webapp.domain.record.rows import RecordFacts
from webapp.fonts import font_files
from webapp.record.fetcher import BUNDLED, BundledFetcher
from webapp.record.scale import draw_scale
from webapp.record.svg import draw_svg
from webapp.words import say

TEMPLATES = Path(__file__).resolve().parents[2] / "templates" / "record"
VARIANT = "pdf/a-3a"
FONTS = ("regular", "semibold")
IDENTIFIER_BYTES = 16
ALL_SCRIPTS = "Aa Ωω Жж \u0644\u064a \u4f50\u85e4 \u304b A\u030a ≤"
NO_GLYPH = ".notdef glyph"  # how the renderer's own line about a missing glyph begins
# ISO 32000-2, 7.11.3: what the page was made from is its source; what helps to check it is data.
RELATIONS = {"sheet.json": "Source", "events.jsonl": "Source", "decisions.jsonl": "Source"}


class Typesetter:
    """Templates, style sheet and fonts of one process, ready to print."""

    @cached_property
    def fetcher(self) -> BundledFetcher:
        """Return the fetcher that knows the fonts and nothing else."""
        paths = font_files()
        return BundledFetcher({f"{name}.ttf": paths[name].read_bytes() for name in FONTS})

    @cached_property
    def fonts(self) -> FontConfiguration:
        """Return the fonts that the style sheet brought in."""
        return FontConfiguration()

    @cached_property
    def style(self) -> CSS:
        """Return the record's style sheet, read once."""
        text = (TEMPLATES / "record.css").read_text(encoding="utf-8")
        return CSS(string=text, font_config=self.fonts, url_fetcher=self.fetcher, base_url=BUNDLED)

    @cached_property
    def templates(self) -> Environment:
        """Return the templates; what is put into them is escaped."""
        loader = FileSystemLoader(TEMPLATES)
        return Environment(
            loader=loader,
            autoescape=True,
            undefined=StrictUndefined,
            finalize=shown_value,
            trim_blocks=True,
            lstrip_blocks=True,
        )

    def warm(self) -> None:
        """Load now what a record needs:
        fonts of all scripts, style sheet, templates, the renderer's parts.
        """
        self.templates.get_template("record.html")
        svg = "<svg xmlns='http://www.w3.org/2000/svg'/>"
        page = f"<p>{ALL_SCRIPTS}<b>{ALL_SCRIPTS}</b>{svg}<table><td>1</table>"
        attached = Attachment(string=b"", name="warm", url_fetcher=self.fetcher)
        with _watched():
            HTML(string=page, url_fetcher=self.fetcher, base_url=BUNDLED).write_pdf(
                stylesheets=[self.style], font_config=self.fonts, pdf_variant=VARIANT, attachments=[attached]
            )

    def html(self, facts: RecordFacts, bundle: RecordBundle, final: bool) -> str:
        """Return the page as HTML text."""
        return self.templates.get_template("record.html").render(
            facts=facts,
            final=final,
            # Both are made of elements whose texts were escaped as they were written.
            scale=Markup(draw_scale(facts.scale, say)),  # noqa: S704
            drawings=[(label, Markup(draw_svg(one, say, size="compact"))) for label, one in facts.drawings],  # noqa: S704
            made_at=_dated(bundle).isoformat(),
            said=_said,
            say=say,
        )

    def pdf(self, bundle: RecordBundle, final: bool) -> bytes:
        """Return the PDF of the record, or the page that says that it is not signed off."""
        html = self.html(record_facts(bundle, final), bundle, final)
        data, missing = self._print(html, bundle, final)
        if missing:
            data, _ = self._print(_coded(html, missing), bundle, final)
        return data

    def trends(self, paper: Mapping[str, Any]) -> bytes:
        """Return the PDF of a fixture's trends.
        `paper` is what its pages say; each `chart` is SVG text of our own.
        """
        axes = [
            # Written by an XML library, every word in it escaped there.
            {**one, "chart": Markup(one["chart"]) if one["chart"] else None}  # noqa: S704
            for one in paper["axes"]
        ]
        made_at = datetime.fromisoformat(paper["made_at_utc"]).replace(microsecond=0).isoformat()
        page = self.templates.get_template("trends.html")
        html = page.render(paper={**paper, "axes": axes}, made_at=made_at)
        data, missing = self._write(html, sha256(html.encode()).digest())
        if missing:
            data, _ = self._write(_coded(html, missing), sha256(html.encode()).digest())
        return data

    def _print(self, html: str, bundle: RecordBundle, final: bool) -> tuple[bytes, frozenset[int]]:
        """Return the PDF of this text, and the code points that no font here can draw."""
        return self._write(html, bytes.fromhex(bundle.digest()), self._attachments(bundle) if final else None)

    def _write(
        self, html: str, digest: bytes, attachments: list[Attachment] | None = None
    ) -> tuple[bytes, frozenset[int]]:
        page = HTML(string=html, url_fetcher=self.fetcher, base_url=BUNDLED)
        with _watched() as watcher:
            data: bytes = page.write_pdf(
                stylesheets=[self.style],
                font_config=self.fonts,
                pdf_variant=VARIANT,
                pdf_identifier=digest[:IDENTIFIER_BYTES],
                attachments=attachments,
                finisher=_finish,
            )
        return data, frozenset(watcher.missing)

    def _attachments(self, bundle: RecordBundle) -> list[Attachment]:
        dated = _dated(bundle)
        return [
            Attachment(
                string=data,
                name=name,
                description=say(f"record.attached_{name.partition('.')[0]}"),
                relationship=RELATIONS.get(name, "Data"),
                created=dated,
                modified=dated,
                url_fetcher=self.fetcher,
            )
            for name, data in bundle.files().items()
        ]


@lru_cache(maxsize=1)
def typesetter() -> Typesetter:
    """Return this process' typesetter."""
    return Typesetter()


class _Watcher(logging.Handler):
    """Notes the code points for which the renderer found no glyph."""

    def __init__(self) -> None:
        super().__init__()
        self.missing: set[int] = set()

    def emit(self, record: logging.LogRecord) -> None:
        if record.msg.startswith(NO_GLYPH) and isinstance(record.args, tuple):
            self.missing.add(int(str(record.args[1])))


@contextmanager
def _watched() -> Iterator[_Watcher]:
    """Listen to the renderer while it prints.
    It leaves it to the garbage collector to close its colour profile.
    """
    watcher = _Watcher()
    LOGGER.addHandler(watcher)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", ResourceWarning)
            yield watcher
    finally:
        LOGGER.removeHandler(watcher)


def _finish(_: Any, pdf: Any) -> None:
    """Take out the second mention that the renderer gives each attached file, and leave what the file says of
    itself uncompressed, so that it can be read without decoding anything (ISO 19005-3, 6.6.2.1).
    """
    number = int(pdf.catalog["Metadata"].split()[0])
    pdf.objects[number].compress = False
    if "AF" in pdf.catalog:
        pdf.catalog["AF"] = type(pdf.catalog["AF"])(dict.fromkeys(pdf.catalog["AF"]))


def _coded(html: str, missing: frozenset[int]) -> str:
    """Return the text with these characters as their code points."""
    return html.translate({code: f"[U+{code:04X}]" for code in missing})


def _said(finding: Finding) -> str:
    return say(finding.code, finding.fields)


def _dated(bundle: RecordBundle) -> datetime:
    """Return the time that the file carries: when it was sealed, or when its sheet was compiled."""
    at_utc: Any = bundle.record["sealed_at_utc"] or bundle.sheet()["compiled_at_utc"]
    return datetime.fromisoformat(at_utc).replace(microsecond=0)
