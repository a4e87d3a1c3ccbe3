"""Our own modules, style sheets and words joined into one file each,
so that a page asks three times and not a hundred.

Rules: the files in the tree stay as they are and are what is tested one by one; joining is done at start, in
memory. A module becomes a function that is called once, in the order in which ECMAScript would evaluate it
(each after what it imports, ECMA-262 "Evaluate"). What this reader of imports does not know, it refuses: the
program then does not start, and no page is ever made of half a module. It knows imports and exports by name,
each at the start of a line:

    import {one, two as other} from './file.js';      export {one} from './file.js';
    export function … / async function / class / const name

Comments on lines of their own and the room before a line stay behind: a tablet downloads what it runs. That
is the same program where no text runs over a line, so a module with such a text is refused as well.

Decision: eighty modules cost a slow tablet more than all else of a cold start, so its page asks for one
script, one style sheet, one catalogue. A bundler would have been a build step and a tool of its own; the
tree keeps the small files, tests run them as modules, and a browser compares the joined script with them.
"""

import json
import posixpath
import re
from collections.abc import Mapping, Sequence

_IMPORT = re.compile(r"^import \{([^}]*)\} from '(\.[^'\n]*)';$", re.MULTILINE)
_PASSED_ON = re.compile(r"^export \{([^}]*)\} from '(\.[^'\n]*)';$", re.MULTILINE)
_DECLARED = re.compile(r"^export (?=(?:async function|function|class|const) (\w+))", re.MULTILINE)
_NOT_KNOWN = re.compile(r"^(?:import|export)\b.*$|^(?! \*).*\bimport(?:\(|\.meta\b).*$", re.MULTILINE)
# Comments with lines of their own; what stands behind code stays.
_COMMENT = re.compile(r"^[ \t]*(?:/\*(?:[^*]|\*(?!/))*\*/[ \t]*|//[^\n]*)$\n?", re.MULTILINE)
_START_OF_LINE = re.compile(r"\n\s+")
_RELATIVE = re.compile(r"@import|url\((?!\s*[\"']?(?:/|data:))")


class CannotJoin(ValueError):
    """A file of the page is written in a way that joining does not know, or is not there:
    a fault of the program.
    """

    def __init__(self, path: str, found: str) -> None:
        super().__init__(f"{path} cannot be joined: {found}")


def reached(modules: Mapping[str, str], entry: str) -> list[str]:
    """Paths of `entry` and of all that it imports, each after what it imports.
    Raises CannotJoin: missing, a circle.
    """
    order: list[str] = []
    _visit(modules, entry, (), order)
    return order


def join_modules(modules: Mapping[str, str], entry: str) -> str:
    """The text of one script that does what `entry` does. `modules`: text by path. Raises CannotJoin.

    It is a classic script and no module, because browsers keep compiled code only of those beside a worker's
    cache.
    """
    functions = "\n".join(_as_function(path, modules[path]) for path in reached(modules, entry))
    return f"(() => {{\n'use strict';\n{functions}\n}})();"


def join_sheets(sheets: Mapping[str, str]) -> str:
    """Style sheets one behind the other, in the order given, without their comments.
    Raises CannotJoin where one names a file beside itself.
    """
    for path, text in sheets.items():
        if found := _RELATIVE.search(text):
            raise CannotJoin(path, found[0])
    return "\n".join(map(_run_alone, sheets.values()))


def join_words(catalogues: Mapping[str, str]) -> str:
    """Catalogues as one JSON object.
    Raises CannotJoin where two have the same code: one sentence would be lost.
    """
    joined: dict[str, str] = {}
    for path, text in catalogues.items():
        words = json.loads(text)
        if twice := joined.keys() & words.keys():
            raise CannotJoin(path, min(twice))
        joined |= words
    return json.dumps(joined, ensure_ascii=False, separators=(",", ":"))


def _visit(modules: Mapping[str, str], path: str, on_the_way: Sequence[str], order: list[str]) -> None:
    if path in order:
        return
    if path in on_the_way or path not in modules:
        raise CannotJoin(path, " -> ".join([*on_the_way, path]))
    for pattern in (_IMPORT, _PASSED_ON):
        for _, address in pattern.findall(modules[path]):
            _visit(modules, _other(path, address), (*on_the_way, path), order)
    order.append(path)


def _as_function(path: str, text: str) -> str:
    given: list[str] = []

    def passed_on(found: re.Match[str]) -> str:
        given.extend(name for _, name in _names(found[1]))
        return _taken(path, found[1], found[2])

    def declared(found: re.Match[str]) -> str:
        given.append(found[1])
        return ""

    if over := next((line for line in _COMMENT.sub("", text).splitlines() if line.count("`") % 2), None):
        raise CannotJoin(path, over.strip())
    body = _IMPORT.sub(lambda found: _taken(path, found[1], found[2]), _run_alone(text))
    body = _DECLARED.sub(declared, _PASSED_ON.sub(passed_on, body))
    if left := _NOT_KNOWN.search(body):
        raise CannotJoin(path, left[0].strip())
    return f"/* {path} */\nconst {_own(path)} = (() => {{\n{body}\nreturn {{{', '.join(given)}}};\n}})();"


def _run_alone(text: str) -> str:
    """The same lines without comments and without the room before them."""
    return _START_OF_LINE.sub("\n", _COMMENT.sub("", text)).strip()


def _taken(path: str, names: str, address: str) -> str:
    wanted = ", ".join(name if name == inside else f"{name}: {inside}" for name, inside in _names(names))
    return f"const {{{wanted}}} = {_own(_other(path, address))};"


def _names(listed: str) -> list[tuple[str, str]]:
    """(name there, name here) of what stands between the braces."""
    parts = [part.split(" as ") for part in listed.split(",")]
    return [(names[0].strip(), names[-1].strip()) for names in parts if names[0].strip()]


def _other(path: str, address: str) -> str:
    return posixpath.normpath(posixpath.join(posixpath.dirname(path), address))


def _own(path: str) -> str:
    return "$" + re.sub(r"\W", "$", path.removesuffix(".js"))
