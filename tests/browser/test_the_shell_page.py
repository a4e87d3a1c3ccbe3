"""The shell page names the joined files alone, and the joined script does what the modules in the tree do."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import BrowserContext

from tests.kit.modules import ROOT, open_modules, shell, tablet_page
from webapp.web.files.joining import _run_alone, join_modules, reached
from webapp.web.files.shell import GLASS_ENTRY, TABLET_ENTRY

MODULES = ROOT / "static" / "js"
OWN_SCRIPT = re.compile(r"""<script[^>]*\ssrc="\{\{ asset\('(js/[^']+)'\) \}\}\"""")
# What a module gives, as text that can be compared: `name: value`, for functions and classes their source.
GIVEN = "given => Object.entries(given).map(([name, value]) => `${name}: ${value}`).sort()"


def test_the_page_asks_for_one_script_one_style_and_one_catalogue() -> None:
    named = re.findall(r'(?:href|src)="/assets/trial/([^"]+)"', tablet_page())
    assert sorted(named) == ["joined/tablet.css", "joined/tablet.js", "joined/tablet.json"]


def test_no_module_of_the_tablet_is_left_outside_the_joined_script() -> None:
    """But what other pages ask for by themselves, and the twin of the server's canonical JSON, which the
    vectors alone ask for.
    """
    modules = {name: file.body.decode() for name, file in shell().assets.items() if name.startswith("js/")}
    entries = [TABLET_ENTRY, GLASS_ENTRY, *scripts_of_pages()]
    needed = {name for entry in entries for name in reached(modules, entry)}
    assert modules.keys() - needed == {"js/rules/plain/canonical.js"}


def scripts_of_pages() -> list[str]:
    """The modules that pages ask for by themselves, as their templates name them."""
    templates = (ROOT / "templates").rglob("*.html")
    return sorted({name for one in templates for name in OWN_SCRIPT.findall(one.read_text(encoding="utf-8"))})


def test_every_joined_module_gives_what_the_browsers_own_module_gives(
    new_context: Callable[..., BrowserContext],
) -> None:
    page = open_modules(new_context())
    modules = {name: file.body.decode() for name, file in shell().assets.items() if name.startswith("js/")}
    names = [name for name in reached(modules, "js/main.js") if name != "js/main.js"]
    entry = "".join(f"import {{}} from '../{name}';\n" for name in names)
    script = join_modules({**modules, "all/entry.js": entry}, "all/entry.js")
    all_of_it = ", ".join(
        f"'{name}': ${re.sub(r'[^a-z0-9_]', '$', name.removesuffix('.js'))}" for name in names
    )
    joined = page.evaluate(
        f"() => {{ const told = {GIVEN};\n"
        f"const all = {script.removesuffix('})();')}return {{{all_of_it}}}; }})();\n"
        "return Object.fromEntries(Object.entries(all).map(([name, given]) => [name, told(given)])); }"
    )
    own = page.evaluate(
        f"""async names => {{
          const told = {GIVEN};
          const one = async name => [name, told(await import(`/assets/trial/${{name}}`))];
          return Object.fromEntries(await Promise.all(names.map(one)));
        }}""",
        names,
    )
    assert len(names) > 70
    assert joined == {name: [_run_alone(one) for one in given] for name, given in own.items()}


def test_no_script_of_the_tablet_needs_a_gesture_or_writes_markup() -> None:
    """WCAG 2.2, 2.5.1 and 2.5.7: single taps do everything. Text reaches the page as text only."""
    forbidden = re.compile(
        r"touchmove|touchstart|dragstart|innerHTML|outerHTML|insertAdjacentHTML|document\.write|eval\("
    )
    found = {
        path.name for path in MODULES.rglob("*.js") if forbidden.search(path.read_text(encoding="utf-8"))
    }
    assert found == set()


def test_nothing_that_counts_waits_for_the_page_to_close() -> None:
    """A page that is killed is told nothing, and some that are put away are not either."""
    closing = re.compile(r"beforeunload|['\"]unload|pagehide|sendBeacon|keepalive")
    found = {path.name for path in MODULES.rglob("*.js") if closing.search(path.read_text(encoding="utf-8"))}
    assert found == set()


def test_nothing_on_the_tablet_is_named_like_a_machine_control_or_calls_anything_safe() -> None:
    """A sentence may say to leave cycle start alone; nothing else speaks of it."""
    words = (ROOT / "static" / "words" / "en" / "tablet.json").read_text(encoding="utf-8")
    named = (
        r"\b(safe|safely|OK|okay|start the machine|e-?stop|(?<!Leave )(?<!No )(?<!Hand off )cycle start)\b"
    )
    assert re.findall(named, words, re.IGNORECASE) == []
