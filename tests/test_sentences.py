"""What anybody reads, looked through as a whole: sentences of screens, pages, charts and records.

People read them beside a machine that can hurt them: nothing here may promise what no list can.
"""

from __future__ import annotations

import re
from pathlib import Path

from webapp.domain.procedure.shipped import NOTICE, SHIPPED

ROOT = Path(__file__).parents[1]
COMMENT = re.compile(r"\{#.*?#\}|<!--.*?-->", re.DOTALL)
STRING = re.compile(r"\"[^\"\n]*\"|'[^'\n]*'|`[^`]*`")
LINE_COMMENT = re.compile(r"^\s*(//|\*|/\*).*$", re.MULTILINE)
STATE = re.compile(
    r'<(?:span|a)[^>]*class="((?:state|verdict) (?:agrees|ask|stop|due))"[^>]*>(.{0,400}?)</(?:span|a)>.',
    re.DOTALL,
)
# Where the word stands because it is forbidden there.
SAYS_THAT_IT_IS_FORBIDDEN = {"static/words/en/procedure.json"}
PROMISES = re.compile(
    r"\b(safe|safely)\b|\b(may|can|approved to|ready to|cleared to|released to) run\b|\bno danger\b",
    re.IGNORECASE,
)
DENIED = re.compile(r"(does not|nothing here) (say|says) that a machine may run", re.IGNORECASE)


def read(path: Path) -> str:
    """What a file shows, without what its writers told each other."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".html":
        return " ".join(COMMENT.sub(" ", text).split())
    if path.suffix == ".js":
        return " ".join(STRING.findall(LINE_COMMENT.sub("", text)))
    return text


def everything_shown() -> dict[str, str]:
    rooms = (("templates", "*.html"), ("static/words", "*.json"), ("static/js/ui", "*.js"))
    found = {
        str(path.relative_to(ROOT)): read(path)
        for room, kind in rooms
        for path in sorted((ROOT / room).rglob(kind))
    }
    return {**found, "the shipped procedure": f"{NOTICE} {SHIPPED}"}


def promises(text: str) -> list[str]:
    return [one.group() for one in PROMISES.finditer(DENIED.sub("", text))]


def test_nothing_that_anybody_reads_calls_anything_safe() -> None:
    shown = everything_shown()
    assert len(shown) > 150
    found = {name: told for name, text in shown.items() if (told := promises(text))}
    assert found.keys() == SAYS_THAT_IT_IS_FORBIDDEN, found


def test_the_look_for_promises_would_find_one() -> None:
    assert promises("All three agree: it is safe to run.") == ["safe"]
    assert promises("The machine may run now.") == ["may run"]
    assert promises("it does not say that a machine may run") == []


def test_no_sentence_stands_in_capitals() -> None:
    """Signal words alone do, as ANSI Z535 has them (from memory), and the three words across a page of paper
    that is not signed off.
    """
    capitals = re.compile(r"\b[A-Z]{2,}(?:[ ,]+[A-Z]{2,}){2,}\b")
    found = {name: set(capitals.findall(text)) for name, text in everything_shown().items()}
    told = {name: words for name, words in found.items() if words}
    assert told == {"templates/record/record.html": {"NOT SIGNED OFF"}}
    styled = {
        path.name
        for path in (ROOT / "static/css").glob("*.css")
        if "text-transform" in path.read_text(encoding="utf-8")
    }
    assert styled == set()


def test_every_state_of_a_page_has_a_sign_and_a_word() -> None:
    """WCAG 2.2, 1.4.1: colour repeats what a sign and a word say."""
    wrong = []
    for path in sorted((ROOT / "templates").rglob("*.html")):
        page = COMMENT.sub(" ", path.read_text(encoding="utf-8"))
        for kind, inside in STATE.findall(page):
            if 'aria-hidden="true"' not in inside:
                wrong.append(f"{path.name}: {kind}: {inside[:60]}")
    assert wrong == []


# What waits in a script of the tablet, and why it brings nobody further by itself.
WAITS = {
    "absence.js": "hides what was measured, never while the probe is moved",
    "offline.js": "gives up a question to the browser",
    "offline_ready.js": "the same",
    "scanning.js": "looks through the camera before a tablet is in use",
    "self_test.js": "gives up a question to the browser",
    "store/db.js": "gives up an opening",
    "store/protection.js": "gives up a question to the browser",
    "sync.js": "looks for the server",
    "tablet.js": "looks at the same step again; sends",
    "ui/scale.js": "lets the index slide to the step that stands already",
    "ui/guard.js": "lets controls take a press again",
    "waiting_file.js": "lets go of a file that was handed out",
    "live_drawing.js": "draws a form of the desk",
}


def test_no_script_of_a_setup_goes_on_by_itself() -> None:
    """No timer, and so nothing that goes on or away, in any view or step of the tablet."""
    scripts = ROOT / "static" / "js"
    timed = re.compile(r"setTimeout|setInterval|requestAnimationFrame")
    found = {
        str(path.relative_to(scripts))
        for path in scripts.rglob("*.js")
        if timed.search(path.read_text(encoding="utf-8"))
    }
    assert found == WAITS.keys()
