"""The printed record: one or two pages, the same bytes each time, everything readable, the data inside."""

import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any
from unicodedata import normalize

import pytest

from tests.record.made_up import TALES, Tale, normal
from webapp.domain.plain.errors import DomainError
from webapp.domain.procedure.shipped import NOTICE
from webapp.domain.record.bundle import from_files
from webapp.domain.record.facts import MOST_FAST, record_facts
from webapp.domain.record.numbers import fast, pace, probe_check, squares
from webapp.domain.record.story import Story
from webapp.record import render, render_unsigned
from webapp.record.svg import SVG
from webapp.words import say

every_tale = pytest.mark.parametrize("tale", TALES)


@lru_cache
def pdf(tale: str) -> bytes:
    return render(TALES[tale]().bundle())


@lru_cache
def unsigned() -> bytes:
    tale = Tale()
    tale.start()
    tale.walk(until="y.touch")
    return render_unsigned(tale.bundle())


def run(command: list[str], data: bytes, folder: Path) -> str:
    file = folder / "record.pdf"
    file.write_bytes(data)
    return subprocess.run([*command[:1], *command[1:], str(file),
                          *(["-"] if command[0] == "pdftotext" else [])], capture_output=True, text=True,
                          check=True).stdout  # fmt: skip


def page_texts(data: bytes, folder: Path) -> list[str]:
    return [" ".join(page.split()) for page in run(["pdftotext"], data, folder).split("\f")[:-1]]


def objects(data: bytes, folder: Path) -> dict[str, Any]:
    """Every object of the file as qpdf reads it, by its reference."""
    found: dict[str, Any] = json.loads(run(["qpdf", "--json"], data, folder))["qpdf"][1]
    return {
        key.removeprefix("obj:"): item["stream"]["dict"] if "stream" in item else item["value"]
        for key, item in found.items()
        if key.startswith("obj:")
    }


def catalog(found: dict[str, Any]) -> dict[str, Any]:
    return next(one for one in found.values() if isinstance(one, dict) and one.get("/Type") == "/Catalog")


@every_tale
def test_a_record_is_one_or_two_pages(tale: str, tmp_path: Path) -> None:
    assert 1 <= len(page_texts(pdf(tale), tmp_path)) <= 2


def test_a_hurried_setup_stays_on_two_pages_and_says_how_many_steps_were_fast(tmp_path: Path) -> None:
    bundle = normal().bundle()
    steps = [step["id"] for stage in bundle.sheet()["procedure"]["stages"] for step in stage["steps"]]
    fast_step = {"milliseconds": 900, "shop_middle_ms": 8800, "reading_ms": 9200, "is_marked": True}
    record = {**bundle.record, "step_pace": [{"step": step, **fast_step} for step in steps]}
    pages = page_texts(render(replace(bundle, record=record)), tmp_path)
    assert len(pages) == 2
    said = " ".join(" ".join(pages).split())
    assert f"{len(steps)} of {len(steps)}" in said
    assert "0.9 s, here usually 8.8, to read it 9.2; " in said
    assert f"And {len(steps) - MOST_FAST} more" in said


@every_tale
def test_the_same_bundle_gives_the_same_bytes(tale: str) -> None:
    assert render(TALES[tale]().bundle()) == pdf(tale)


def test_another_process_gives_the_same_bytes(tmp_path: Path) -> None:
    script = (
        "import sys; from pathlib import Path; from webapp.domain.record.bundle import from_files\n"
        "from webapp.record import render\n"
        "folder = Path(sys.argv[1])\n"
        "sys.stdout.buffer.write(render(from_files({path.name: path.read_bytes() for path in "
        "folder.iterdir()})))\n"
    )
    for name, data in normal().bundle().files().items():
        (tmp_path / name).write_bytes(data)
    for seed in ("1", "2"):
        done = subprocess.run([sys.executable, "-c", script, str(tmp_path)], capture_output=True, check=True,
                              cwd=Path(__file__).resolve().parents[2],
                              env={**os.environ, "PYTHONHASHSEED": seed, "TZ": "Asia/Kathmandu"})  # fmt: skip
        assert done.stdout == pdf("normal")


def test_another_fact_gives_other_bytes() -> None:
    tale = normal()
    tale.people[0]["name"] = "Mara Lindquist"
    assert render(tale.bundle()) != pdf("normal")


def test_the_page_shows_the_values_the_limits_and_the_names(tmp_path: Path) -> None:
    text = " ".join(page_texts(pdf("asked"), tmp_path))
    for said in ("Teaching shop, hall 3", "Vise A on Plover", "−413.338 mm", "-202.080", "−202.118", "+0.038",
                 "±0.031", "±0.045", "? ask", "= agrees", "kept: a question was put", "Mara Lindqvist",
                 "Okko Brandt", "Meaning: performed", "Meaning: reviewed and accepted",
                 "2026-11-25 08:11:20 +00:00", "Watch the pallet truck.", "Coolant drips on the jaw.",
                 "I looked: it sits tight.", "Cautions, acknowledged one by one"):  # fmt: skip
        assert said in text, said


def test_the_page_says_what_the_seal_is_and_what_it_is_not(tmp_path: Path) -> None:
    text = " ".join(page_texts(pdf("normal"), tmp_path))
    assert "The seal on this file is the shop's." in text
    assert "recorded electronic signatures of persons" in text
    assert "“advanced” or “qualified”" in text
    assert NOTICE in text
    assert not re.search(r"\bsafe\b", text, re.IGNORECASE)


def test_the_printed_hashes_are_those_of_the_attached_files(tmp_path: Path) -> None:
    text = " ".join(page_texts(pdf("normal"), tmp_path))
    bundle = normal().bundle()
    for file in record_facts(bundle, final=True).proof.files:
        assert file.hash in text
    last = record_facts(bundle, final=True).signatures[0].event
    assert last in text


def test_the_attached_files_are_the_bundle(tmp_path: Path) -> None:
    source = tmp_path / "record.pdf"
    source.write_bytes(pdf("asked"))
    (tmp_path / "files").mkdir()
    subprocess.run(["pdfdetach", "-saveall", "-o", str(tmp_path / "files"), str(source)], check=True)
    files = {path.name: path.read_bytes() for path in (tmp_path / "files").iterdir()}
    assert from_files(files) == TALES["asked"]().bundle()
    assert render(from_files(files)) == pdf("asked")


def test_each_file_is_associated_once_and_says_how(tmp_path: Path) -> None:
    found = objects(pdf("normal"), tmp_path)
    mentioned = catalog(found)["/AF"]
    assert len(mentioned) == len(set(mentioned)) == 5
    relations = {found[reference]["/UF"]: found[reference]["/AFRelationship"] for reference in mentioned}
    assert relations == {
        "u:sheet.json": "/Source", "u:events.jsonl": "/Source", "u:decisions.jsonl": "/Source",
        "u:devices.json": "/Data", "u:record.json": "/Data",
    }  # fmt: skip


@every_tale
def test_every_font_is_embedded_and_can_be_read_back(tale: str, tmp_path: Path) -> None:
    lines = run(["pdffonts"], pdf(tale), tmp_path).splitlines()[2:]
    assert lines
    for line in lines:
        embedded, _, to_unicode = line.split()[-5:-2]
        assert (embedded, to_unicode) == ("yes", "yes"), line


def test_names_in_other_scripts_are_visible(tmp_path: Path) -> None:
    text = normalize("NFC", " ".join(page_texts(pdf("long names"), tmp_path)))
    for name in [
        "Ελένη",
        "Дарья Щербакова",
        "佐藤",
        "美咲",
        "Nguyễn Thị Ánh",
        "Zoé Ångström",
        "ليلى",
        "الحداد",
    ]:
        assert name in text, name


def test_a_character_without_a_font_is_printed_as_its_code_point(tmp_path: Path) -> None:
    tale = normal()
    tale.people[0]["name"] = "Mara \U0001fffe Lindqvist"
    text = " ".join(page_texts(render(tale.bundle()), tmp_path))
    assert text.count("Mara [U+1FFFE] Lindqvist") == 2


def test_no_empty_glyph_stands_for_a_letter(tmp_path: Path) -> None:
    """Whatever the fonts here can draw, a letter is drawn or written out:
    the text layer alone would hide it.
    """
    text = normalize("NFC", " ".join(page_texts(pdf("long names"), tmp_path)))
    drawn, written_out = "김하늘" in text, "[U+AE40][U+D558][U+B298]" in text
    assert drawn != written_out


def test_the_file_declares_pdf_a_3a_and_is_tagged_with_title_and_language(tmp_path: Path) -> None:
    found = objects(pdf("normal"), tmp_path)
    root = catalog(found)
    assert root["/Lang"] == "u:en"
    assert root["/MarkInfo"] == {"/Marked": True}
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] is True
    assert root["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    metadata = run(["pdfinfo", "-meta"], pdf("normal"), tmp_path)
    assert 'pdfaid:part="3" pdfaid:conformance="A"' in metadata
    assert "Setup record: Vise A on Plover" in metadata


def test_structure_has_headings_table_headers_and_words_for_each_picture(tmp_path: Path) -> None:
    found = objects(pdf("normal"), tmp_path).values()
    parts = [one for one in found if isinstance(one, dict) and one.get("/Type") == "/StructElem"]
    kinds = [part["/S"] for part in parts]
    assert kinds.count("/H1") == 1
    assert {"/H2", "/Table", "/TH", "/TD", "/L"} <= set(kinds)
    words = [part["/Alt"] for part in parts if part["/S"] == "/Figure"]
    assert len(words) == 4
    assert sum("never touch it" in one for one in words) == 3
    assert sum("Done: ready" in one for one in words) == 1


def test_nothing_in_the_file_acts_or_links(tmp_path: Path) -> None:
    text = json.dumps(objects(pdf("asked"), tmp_path))
    for name in (
        '"/JS"',
        '"/JavaScript"',
        '"/OpenAction"',
        '"/AA"',
        '"/URI"',
        '"/Launch"',
        '"/Annot"',
        '"/OCG"',
    ):
        assert name not in text


def test_no_text_is_below_nine_points(tmp_path: Path) -> None:
    """Sizes as poppler sees them on the page, so that the drawings' scale counts too."""
    file = tmp_path / "record.pdf"
    for tale in ("normal", "long names"):
        file.write_bytes(pdf(tale))
        boxes = subprocess.run(["pdftohtml", "-xml", "-stdout", "-zoom", "1", str(file)], capture_output=True,
                               text=True, check=True).stdout  # fmt: skip
        sizes = [int(size) for size in re.findall(r'<fontspec [^>]*size="(\d+)"', boxes)]
        assert sizes
        assert min(sizes) >= 9


def test_greyscale_keeps_every_meaning() -> None:
    """Nothing is told by colour: what carries colour is tint,
    ink or grey, and verdicts have word and sign.
    """
    sheet = (Path(__file__).resolve().parents[2] / "templates/record/record.css").read_text()
    for red, green, blue in re.findall(r"#(\w\w)(\w\w)(\w\w)\b", sheet):
        levels = [int(part, 16) for part in (red, green, blue)]
        assert max(levels) - min(levels) <= 20
    rows = record_facts(TALES["asked"]().bundle(), final=True).touches
    assert {(row.sign, row.verdict.code) for row in rows} == {
        ("=", "record.verdict_agrees"), ("?", "record.verdict_ask"),
    }  # fmt: skip


def test_each_unsigned_page_says_so_in_its_own_text(tmp_path: Path) -> None:
    pages = page_texts(unsigned(), tmp_path)
    assert len(pages) >= 2
    assert all("NOT SIGNED OFF" in page for page in pages)


def test_an_unsigned_page_claims_no_seal_and_carries_no_files(tmp_path: Path) -> None:
    text = " ".join(page_texts(unsigned(), tmp_path))
    assert "The seal on this file" not in text
    assert "There is no seal on this page." in text
    assert "/AF" not in catalog(objects(unsigned(), tmp_path))


def test_a_signed_off_setup_without_seal_does_not_look_final(tmp_path: Path) -> None:
    text = " ".join(page_texts(render_unsigned(normal().bundle()), tmp_path))
    assert "Signed off, not yet sealed." in text
    assert "Signed off. " not in text


def test_a_setup_that_is_not_signed_off_is_not_rendered_as_final() -> None:
    tale = Tale()
    tale.start()
    tale.walk()
    with pytest.raises(DomainError) as refused:
        render(tale.bundle())
    assert refused.value.code == "record.not_final"


def test_what_people_type_reaches_the_page_as_text(tmp_path: Path) -> None:
    markup = (
        '<img src="file:///etc/hostname"><style>@import url(http://127.0.0.1:1/)</style><b>bold</b>{{ 7*7 }}'
    )
    tale = Tale()
    tale.start()
    tale.tell("worry.raised", "ready.machine", worry="other", text=markup)
    tale.people[0]["name"] = markup
    text = " ".join(page_texts(render_unsigned(tale.bundle()), tmp_path)).replace(" ", "")
    assert markup.replace(" ", "") in text


def test_a_name_in_the_sheet_cannot_leave_its_drawing(tmp_path: Path) -> None:
    bundle = normal().bundle()
    sheet = bundle.sheet()
    sheet["axes"][0]["drawing"]["compact"]["shapes"].append(
        {"kind": "text", "role": "label", "x": 1, "y": 20, "size": 16, "anchor": "start",
         "text": f'</text><image xmlns="{SVG}" href="file:///etc/hostname"/>'}
    )  # fmt: skip
    text = " ".join(page_texts(render(replace(bundle, sheet_text=json.dumps(sheet))), tmp_path))
    assert "file:///etc/hostname" in text


def test_a_record_stays_far_below_five_megabytes() -> None:
    assert max(len(pdf(tale)) for tale in TALES) < 500_000


def test_square_the_probes_check_and_fast_steps_stand_in_the_record() -> None:
    told = {"square": {"axis": "Y", "along": "X", "apart_nm": 100_000_000, "jaw_length_nm": 150_000_000,
                       "u_touch_nm": 2_500, "u_error_nm": 5_303, "told_nm": 10_606}}  # fmt: skip
    tale = Tale()
    tale.sheet |= told
    tale.sheet["probe"] |= {"check": {"due_at_utc": "2026-01-01T00:00:00.000Z", "overdue": True}}
    story = Story(tale.sheet, {}, {
        "started_at_utc": "2026-11-25T08:00:00.000Z", "slot": "G56", "person": "mara",
        "squares": [{"axis": "Y", "typed": ["-202.115", "-202.085"],
                     "values_nm": [-202_115_000, -202_085_000], "apart_nm": 100_000_000, "error_nm": 45_000,
                     "told": True, "stands": True, "event": "e", "at_utc": "2026-11-25T08:10:00.000Z"}],
    }, {})  # fmt: skip
    (row,) = squares(story)
    assert "+0.045" in say(row.found.code, row.found.fields)
    overdue = probe_check(story)
    assert overdue is not None
    assert say(overdue.code, overdue.fields) == "Check overdue since 2026-01-01"
    step = {"step": "ready.stop", "kind": "caution", "milliseconds": 300, "reading_ms": 6_000,
            "shop_times": 40, "shop_middle_ms": 9_100, "shop_first_percentile_ms": 3_000,
            "is_marked": True}  # fmt: skip
    record = {"step_pace": [step, {**step, "is_marked": False}]}
    assert [(one.took, one.shop, one.reading) for one in fast(record, story)] == [("0.3", "9.1", "6.0")]
    marked = pace(record)
    assert marked is not None
    assert marked.fields == {"marked": 1, "steps": 2}
    assert pace({"step_pace": None}) is None
