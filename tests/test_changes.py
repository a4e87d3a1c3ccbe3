"""The table of what a change touches names the files that it would touch, looked up by words of the last."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
TABLE = Path(__file__).parent / "changes.md"
ROOMS, KINDS = ("webapp", "static", "templates"), {".py", ".js", ".css", ".html", ".json", ".toml"}
MOST = 8
MOST_OF = {
    "a cause of mistakes with a measure of its own": 6,
    "a line on the record": 6,
    "a page at the desk": 6,
}
MARKED = re.compile(r"`([^`]+)`")
ROWS = [
    [cell.strip() for cell in line.strip("|").split(" | ")]
    for line in TABLE.read_text(encoding="utf-8").splitlines()[9:]
    if line.startswith("|")
]


@pytest.fixture(scope="module")
def texts() -> dict[str, str]:
    found = [path for room in ROOMS for path in (ROOT / room).rglob("*.*") if path.suffix in KINDS]
    names = {str(path.relative_to(ROOT)): path for path in found}
    return {
        name: path.read_text(encoding="utf-8")
        for name, path in names.items()
        if not name.startswith("webapp/demo/")
    }


def test_twenty_changes_touch_the_files_that_the_table_names_and_none_more_than_eight(
    texts: dict[str, str],
) -> None:
    assert len({change for change, *_ in ROWS}) == len(ROWS) >= 20
    assert MOST_OF.keys() <= {change for change, *_ in ROWS}
    for change, words, files in ROWS:
        wanted = MARKED.findall(words)
        holding = {name for name, text in texts.items() if any(word in text for word in wanted)}
        assert holding == set(MARKED.findall(files)), change
        assert len(holding) <= MOST_OF.get(change, MOST), change
