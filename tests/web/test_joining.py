"""Joining our modules, styles and words:
the joined script does what the modules did; what is not known is refused.

Source: ECMA-262, "Evaluate" of cyclic module records: each module once, after those it imports. Read from
memory; the order itself is compared with a real Chromium that runs the same files as modules
(test_the_shell_page.py).
"""

from __future__ import annotations

import pytest

from webapp.web.files.joining import CannotJoin, join_modules, join_sheets, join_words, reached

MODULES = {
    "js/main.js": (
        "import {one} from './a.js';\nimport {two as other} from './sub/b.js';\nsaid.push(one + other);"
    ),
    "js/a.js": "export {two} from './sub/b.js';\nexport const one = 1;\nsaid.push('a');",
    "js/sub/b.js": "const hidden = 1;\nexport function two() { return hidden; }\nsaid.push('b');",
}


def refused(modules: dict[str, str], entry: str = "js/main.js") -> str:
    with pytest.raises(CannotJoin) as caught:
        join_modules(modules, entry)
    return str(caught.value)


def test_each_module_comes_once_after_what_it_imports() -> None:
    assert reached(MODULES, "js/main.js") == ["js/sub/b.js", "js/a.js", "js/main.js"]


def test_a_module_that_nobody_imports_stays_outside() -> None:
    assert "js/left.js" not in reached({**MODULES, "js/left.js": "export const left = 1;"}, "js/main.js")


def test_names_are_handed_on_under_the_name_that_the_importer_gives_them() -> None:
    joined = join_modules(MODULES, "js/main.js")
    assert "const {one} = $js$a;" in joined
    assert "const {two: other} = $js$sub$b;" in joined
    assert "return {one, two};" in joined or "return {two, one};" in joined
    assert "import {" not in joined
    assert "export " not in joined


def test_a_circle_of_imports_is_refused() -> None:
    circle = {**MODULES, "js/sub/b.js": "import {one} from '../a.js';\nexport const two = one;"}
    assert "js/a.js -> js/sub/b.js -> js/a.js" in refused(circle)


def test_an_import_of_a_file_that_is_not_there_is_refused() -> None:
    assert "js/gone.js" in refused({"js/main.js": "import {one} from './gone.js';"})


@pytest.mark.parametrize(
    "line",
    [
        "import other from './a.js';",
        "import * as all from './a.js';",
        "import './a.js';",
        "export default 1;",
        "export let changing = 1;",
        "export {one};",
        "export * from './a.js';",
        "const later = () => import('./a.js');",
        "const here = import.meta.url;",
    ],
)
def test_a_way_of_importing_or_exporting_that_joining_does_not_know_is_refused(line: str) -> None:
    assert "js/main.js cannot be joined" in refused({**MODULES, "js/main.js": line})


def test_names_may_be_listed_over_several_lines() -> None:
    listed = {
        **MODULES,
        "js/main.js": "import {\n  one,\n  two as other,\n} from './a.js';\nsaid.push(one + other);",
    }
    assert "const {one, two: other} = $js$a;" in join_modules(listed, "js/main.js")


COMMENTED = """/**
 * What it is for, with a * and a /.
 */
export const one = 'a // b'; // stays
  /* alone */
  // alone
  said.push(/* stays */ one, '/* no comment */');
"""


def test_comments_of_their_own_and_the_room_before_a_line_are_not_sent() -> None:
    joined = join_modules({"js/main.js": COMMENTED}, "js/main.js")
    assert (
        "const one = 'a // b'; // stays\nsaid.push(/* stays */ one, '/* no comment */');\nreturn {one};"
        in joined
    )
    assert "alone" not in joined
    assert "What it is for" not in joined
    assert join_sheets({"a.css": "/* a\n   b */\np {\n  color: red;\n}\n"}) == "p {\ncolor: red;\n}"


def test_a_text_that_runs_over_a_line_is_refused() -> None:
    assert "cannot be joined: const text = `one" in refused({"js/main.js": "const text = `one\n  two`;"})
    assert "`" in join_modules({"js/main.js": "const text = `one` + `two`;"}, "js/main.js")
    assert join_modules({"js/main.js": "// one `\nsaid.push(1);"}, "js/main.js")


def test_what_a_comment_says_of_imports_is_left_alone() -> None:
    commented = "/**\n * @param {import('./a.js').One} one\n */\nsaid.push('c');"
    assert "said.push('c')" in join_modules({"js/main.js": commented}, "js/main.js")


def test_style_sheets_keep_their_order() -> None:
    assert join_sheets({"b.css": "p { color: red }", "a.css": "p { color: blue }"}).index("red") < 12


@pytest.mark.parametrize(
    "rule", ["@import 'x.css';", "p { background: url(x.png) }", 'p { background: url("x.png") }']
)
def test_a_style_sheet_that_names_a_file_beside_itself_is_refused(rule: str) -> None:
    with pytest.raises(CannotJoin):
        join_sheets({"css/a.css": rule})


def test_a_style_sheet_may_name_a_file_from_the_root() -> None:
    assert "/fonts/a.woff2" in join_sheets({"css/fonts.css": '@font-face { src: url("/fonts/a.woff2") }'})


def test_words_come_together_and_two_sentences_under_one_code_are_refused() -> None:
    assert join_words({"a.json": '{"a": "A"}', "b.json": '{"b": "B — b"}'}) == '{"a":"A","b":"B — b"}'
    with pytest.raises(CannotJoin, match=r"b\.json cannot be joined: a$"):
        join_words({"a.json": '{"a": "A"}', "b.json": '{"a": "B"}'})
