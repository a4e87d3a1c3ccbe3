"""The house rules that a machine can see, kept by the one test command."""

import ast
import re
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from webapp.checking import LINTERS, ROOT, Step, run_step

MADE_BY_TOOLS = {".git", ".venv", "__pycache__", ".hypothesis", ".import_linter_cache", ".mypy_cache",
                 ".pytest_cache", ".ruff_cache", "test-results", "data", "zerokeep.egg-info"}  # fmt: skip
LAYOUT = {"README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", "webapp", "static", "templates", "tests"}
OUR_KINDS = {".py", ".js", ".mjs", ".css", ".html", ".svg", ".png", ".ico", ".webmanifest", ".json", ".jsonl",
             ".toml", ".md", ".txt", ".csv", ".pem", ".sql", ".nc", ".pdf", ".dat"}  # fmt: skip
# Written apart, so that this file holds no such name either.
REGISTRY_HOSTS = [
    f"{name}.{end}"
    for end, names in {
        "com": ("npmjs", "yarnpkg", "unpkg", "cloudflare", "fonts.googleapis", "fonts.gstatic"),
        "io": ("crates",),
        "net": ("jsdelivr",),
        "org": ("pypi", "pythonhosted", "npmjs", "deb.debian", "security.debian", "ftp.debian"),
    }.items()
    for name in names
]


def our_files(*folders: str, kinds: set[str] | None = None) -> Iterator[Path]:
    """Every file of the tree (or of these folders), but for what tools and shops put there."""
    waiting = [ROOT / folder for folder in folders] if folders else [ROOT]
    while waiting:
        folder = waiting.pop()
        for path in sorted(folder.iterdir()) if folder.is_dir() else ():
            if path.is_dir():
                if path.name not in MADE_BY_TOOLS or (path.name == "data" and path.parent != ROOT):
                    waiting.append(path)
            elif kinds is None or path.suffix in kinds:
                yield path


def lines_with(pattern: str, files: Iterator[Path]) -> list[str]:
    """`file:line: text` for every line in which the pattern is found."""
    wanted = re.compile(pattern)
    found = []
    for path in files:
        text = path.read_text(encoding="utf-8", errors="replace")
        for number, line in enumerate(text.splitlines(), 1):
            if wanted.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:120]}")
    return found


# What fits by its types is held in `test_types.py`, which reads the whole program for that anyway.
OTHERS = [step for step in LINTERS if step.name != "mypy"]


@pytest.mark.linters
@pytest.mark.parametrize("step", OTHERS, ids=lambda step: step.name)
def test_a_linter_finds_nothing(step: Step) -> None:
    outcome = run_step(step)
    assert outcome.passed, outcome.output


@pytest.mark.linters
@pytest.mark.parametrize(
    ("room", "line"),
    [
        ("domain", "import flask"),
        ("domain", "import webapp.services"),
        ("domain", "import time"),
        ("services", "import webapp.store"),
        ("services", "import webapp.web"),
        ("services", "import flask"),
        ("services", "import peewee"),
        ("store", "import webapp.services"),
        ("proof", "import webapp.record"),
        ("record", "import webapp.store"),
        ("web", "import webapp.demo"),
        ("web", "import peewee"),
        ("web", "import webapp.store"),
        ("domain/plain", "import webapp.domain.setup.fold"),
        ("domain/procedure", "import webapp.domain.sheet.sheet"),
        ("domain/setup/trouble", "import webapp.domain.setup.touching.touches"),
        ("proof/ledger", "import webapp.proof.pdf.pdf_seal"),
        ("services/people", "import webapp.services.intake.intake"),
        ("web/show", "import webapp.web.desk.forms"),
    ],
)
def test_the_import_contracts_refuse_a_wall_knocked_through(room: str, line: str, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "webapp", tmp_path / "webapp", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / "webapp" / room / "knocked_through.py").write_text(f"{line}\n", encoding="utf-8")
    contracts = next(step for step in LINTERS if step.name == "import contracts")
    outcome = run_step(Step(contracts.name, (*contracts.command, "--no-cache")), tmp_path)
    assert not outcome.passed
    assert f"webapp.{room.replace('/', '.')}.knocked_through" in outcome.output


def reads_of_the_store(text: str) -> list[int]:
    """Lines that ask a store for something; one that hands it on to a use case is none."""
    return [
        node.lineno
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Attribute)
        and (
            (isinstance(node.value, ast.Name) and node.value.id == "store")
            or (isinstance(node.value, ast.Attribute) and node.value.attr == "store")
        )
    ]


def test_no_view_asks_the_store() -> None:
    found = {
        str(path.relative_to(ROOT)): reads_of_the_store(path.read_text(encoding="utf-8"))
        for path in our_files("webapp/web", kinds={".py"})
    }
    assert len(found) > 40
    assert {name: lines for name, lines in found.items() if lines} == {}
    assert reads_of_the_store("rows = wiring().store.people.everybody()") == [1]
    assert reads_of_the_store("with store.reading():\n    pass") == [1]
    assert reads_of_the_store("found = reading.names(parts.store)") == []


@pytest.mark.linters
@pytest.mark.parametrize(
    "code",
    [
        "from datetime import UTC, datetime\n\nnow = datetime.now(UTC)\n",
        "import time\n\nnow = time.time()\n",
        "import uuid\n\nfresh = uuid.uuid4()\n",
        "import random\n\nchance = random.random()\n",
    ],
)
@pytest.mark.parametrize("room", ["domain", "services"])
def test_the_linter_refuses_a_clock_or_chance_where_they_are_arguments(room: str, code: str) -> None:
    def complaints(place: str) -> str:
        command = [
            sys.executable,
            "-m",
            "ruff",
            "check",
            "--no-cache",
            "--select",
            "TID251",
            "--stdin-filename",
            place,
            "-",
        ]
        return subprocess.run(
            command, cwd=ROOT, input=code, capture_output=True, text=True, check=False
        ).stdout

    assert "TID251" in complaints(f"webapp/{room}/probe.py")
    assert "TID251" not in complaints("webapp/web/probe.py")


def test_the_top_level_holds_the_agreed_layout_and_nothing_else() -> None:
    names = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert names - MADE_BY_TOOLS - LAYOUT == set()


def test_the_tree_holds_no_file_of_somebody_elses() -> None:
    files = [
        path.relative_to(ROOT)
        for path in our_files()
        if not path.name.startswith(".") and path.parent.name != ".ci" and path != ROOT / "LICENSE"
    ]
    assert files
    assert [path for path in files if path.suffix not in OUR_KINDS] == [], (
        "fonts, archives and programs are dependencies"
    )
    assert [path for path in files if ".min." in path.name] == []
    assert [path for path in files if {"vendor", "node_modules", "third_party"} & set(path.parts)] == []


def test_no_file_names_a_package_registry() -> None:
    pattern = "|".join(map(re.escape, REGISTRY_HOSTS))
    assert lines_with(pattern, our_files()) == []


def test_the_pinned_lists_carry_no_address() -> None:
    lists = [*our_files("webapp", kinds={".txt"}), ROOT / "tests/javascript/package-lock.json"]
    assert len(lists) >= 3
    assert lines_with(r"://|--(extra-)?index|--find-links", iter(lists)) == []


LONGEST_LINE = 110
# What is longer, and why: a sentence of a catalogue is a line; evidence, published figures and vectors stay
# as they were written, drawings as a program drew them; in Markdown a row of a table is a line.
MAY_BE_LONGER = [
    "static/words/**/*", "tests/evidence/edition-*/**/*", "tests/published/data/**/*", "tests/vectors/**/*",
    "tests/**/*.json", "tests/long/*.svg", "webapp/requirements*.txt",
]  # fmt: skip
# What a tool is told behind the code, and why, does not count.
PRAGMA = re.compile(r"\s+# (?:noqa|type: ignore|fmt: )[^\n]*$", re.MULTILINE)


def too_long(text: str) -> list[str]:
    return [line for line in PRAGMA.sub("", text).splitlines() if len(line) > LONGEST_LINE]


def test_no_line_is_longer_than_the_longest() -> None:
    kinds = {".css", ".html", ".js", ".json", ".mjs", ".py", ".svg", ".toml", ".txt", ".webmanifest"}
    longer = {path for pattern in MAY_BE_LONGER for path in ROOT.glob(pattern)}
    files = [path for path in our_files(kinds=kinds) if path not in longer]
    assert len(files) > 600
    found = {str(path.relative_to(ROOT)): too_long(path.read_text(encoding="utf-8")) for path in files}
    assert {name: lines for name, lines in found.items() if lines} == {}
    assert too_long("x" * LONGEST_LINE + "  # noqa: E501\n" + "y" * (LONGEST_LINE + 1)) == ["y" * 111]


FORBIDDEN = [
    ("text set as markup", r"\b(inner|outer)HTML\b|insertAdjacentHTML|document\.write\(",
     {".js", ".mjs", ".html"}),
    ("a template filter that trusts text", r"\|\s*safe\b|autoescape\s+false", {".html", ".svg", ".txt"}),
    ("code made from text", r"(?<![\w.$])eval\(|new Function\(", {".js", ".mjs", ".html", ".py"}),
    ("a program run through a shell", r"shell\s*=\s*True|\bos\.(system|popen)\(", {".py"}),
    ("a certificate not looked at", r"verify\s*=\s*False|CERT_NONE|_create_unverified_context", {".py"}),
    ("an inline style", r"""\sstyle\s*=\s*["'{]|setAttribute\(\s*["']style""", {".html", ".js", ".mjs"}),
    ("an inline event handler", r"""<[^>]*\son[a-z]+\s*=\s*["']|javascript:""", {".html"}),
    ("an inline script", r"<script(?![^>]*\bsrc=)[^>]*>", {".html"}),
    ("something put off", r"\b(TOD[O]|FIXM[E]|XX[X])\b|NotImplemented[E]rror",
     {".py", ".js", ".mjs", ".html", ".css"}),
]  # fmt: skip


@pytest.mark.parametrize(("name", "pattern", "kinds"), FORBIDDEN, ids=[name for name, _, _ in FORBIDDEN])
def test_no_page_and_no_program_holds(name: str, pattern: str, kinds: set[str]) -> None:
    assert lines_with(pattern, our_files("webapp", "static", "templates", kinds=kinds)) == [], name


BAD_LINES = [
    ("text set as markup", "node.innerHTML = text"),
    ("a template filter that trusts text", "<p>{{ name|safe }}</p>"),
    ("code made from text", "x = eval(text)"),
    ("a program run through a shell", "subprocess.run(line, shell=True)"),
    ("a certificate not looked at", "get(address, verify=False)"),
    ("an inline style", '<p style="color: red">'),
    ("an inline event handler", '<button type="button" onclick="go()">'),
    ("an inline script", "<script>go()</script>"),
    ("something put off", "# {} later".format("todo".upper())),
]  # fmt: skip


@pytest.mark.parametrize(("name", "line"), BAD_LINES, ids=[name for name, _ in BAD_LINES])
def test_each_forbidden_construct_is_recognised(name: str, line: str) -> None:
    pattern = next(pattern for known, pattern, _ in FORBIDDEN if known == name)
    assert re.search(pattern, line)


def test_no_test_is_skipped_put_off_or_unable_to_fail() -> None:
    pattern = r"pytest\.mark\.(skip|xfail)|pytest\.skip\(|^\s*assert True\b"
    files = (path for path in our_files("tests", kinds={".py"}) if path != Path(__file__))
    assert lines_with(pattern, files) == []


def pins(list_name: str) -> dict[str, tuple[str, int]]:
    """Name -> version and number of hashes, of one pinned list."""
    entries = re.split(r"\n(?=[a-z0-9])", (ROOT / "webapp" / list_name).read_text(encoding="utf-8"))
    found = {}
    for entry in entries:
        name, _, version = entry.split(" ", 1)[0].strip().partition("==")
        found[canonicalize_name(name)] = (version, entry.count("--hash=sha256:"))
    return found


@pytest.mark.parametrize(
    ("list_name", "extras"), [("requirements.txt", []), ("requirements-test.txt", ["test"])]
)
def test_every_dependency_is_pinned_within_its_bounds_and_by_hash(list_name: str, extras: list[str]) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = list(project["dependencies"])
    for extra in extras:
        wanted += project["optional-dependencies"][extra]
    pinned = pins(list_name)
    for text in wanted:
        requirement = Requirement(text)
        version, _ = pinned[canonicalize_name(requirement.name)]
        assert requirement.specifier.contains(version), f"{text} is pinned at {version}"
    assert [name for name, (version, hashes) in pinned.items() if not version or not hashes] == []


def test_the_tests_run_with_the_very_packages_of_the_program() -> None:
    for_tests = pins("requirements-test.txt")
    assert {name: for_tests.get(name) for name in pins("requirements.txt")} == pins("requirements.txt")


@pytest.mark.parametrize("path", ["webapp/__main__.py", "tests/__main__.py"])
def test_an_older_python_can_read_the_first_command_far_enough_to_say_so(path: str) -> None:
    compile_as = (
        "import ast, sys; ast.parse(open(sys.argv[1], encoding='utf-8').read(), feature_version=(3, 7))"
    )
    subprocess.run([sys.executable, "-c", compile_as, ROOT / path], check=True)
