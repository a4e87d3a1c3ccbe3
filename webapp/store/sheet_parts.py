"""A sheet as it is kept: its large parts once each, by hash, and what is left with their hashes in place of
them.

Rules:
- the sheet's exact text, its hash and what a tablet gets stay what they are;
  this is only how the text lies here;
- a part is an object or a list of a sheet whose text is long enough, under the SHA-256 of that text; parts
  have parts. What is drawn and what the procedure says is the same on sheet after sheet and is kept once;
- a kept form is a JSON list of pieces: text, hash, text, hash … text. A sheet's text begins with a brace, so
  a form is never mistaken for one, and a sheet from before, or one that cannot be split, is kept as its text;
- the form of a sheet that was let go (see `services/sheets/letting_go.py`) is empty: its hash, its machine
  and its times stay, and it counts as one that is not there until a tablet brings it back;
- a form that is not as it was written, and a part that is gone,
  give a text with another hash, so that it is seen.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Callable, Collection, Mapping
from functools import lru_cache
from hashlib import sha256
from typing import Any

from webapp.domain.plain.json_strict import JsonError, canonical_text

LEAST_CHARACTERS = 500
# Some ten kB each at the most: what a process holds of them stays a few MB.
MOST_READ = 1_024
# Bodies of parts by hash, those of them that are there.
Load = Callable[[Collection[str]], Mapping[str, bytes]]


def split(text: str) -> tuple[str, dict[str, bytes]]:
    """The form that a sheet is kept in, and the bodies of its parts by hash."""
    parts: dict[str, bytes] = {}
    try:
        value = json.loads(text)
        if not isinstance(value, dict) or canonical_text(value) != text:
            return text, {}
    except (ValueError, JsonError):
        return text, {}
    form = canonical_text(_pieces(value, parts))
    # It is evidence: a form that would not give the same text again is not used.
    return (form, parts) if join(form, lambda _: parts) == text else (text, {})


def join(form: str, load: Load) -> str:
    """The text that was kept in this form."""
    whole, parts = _read(form), dict[str, tuple[str, ...]]()
    wanted = set(whole[1::2])
    while wanted:
        found = load(wanted)
        read = {hash_: _opened_and_read(found.get(hash_)) for hash_ in wanted}
        parts.update(read)
        wanted = {hash_ for pieces in read.values() for hash_ in pieces[1::2]} - parts.keys()
    return _joined(whole, parts)


def _pieces(value: Any, parts: dict[str, bytes]) -> list[str]:
    """The text of a value in pieces, its long parts as their hashes."""
    opening, closing = "{}" if isinstance(value, dict) else "[]"
    pieces, between = [opening], ""
    for key, child in value.items() if isinstance(value, dict) else ((None, child) for child in value):
        pieces[-1] += between + ("" if key is None else f"{_written(key)}:")
        _put(child, pieces, parts)
        between = ","
    pieces[-1] += closing
    return pieces


def _put(child: Any, pieces: list[str], parts: dict[str, bytes]) -> None:
    text = _written(child)
    if not isinstance(child, (dict, list)) or len(text) < LEAST_CHARACTERS:
        pieces[-1] += text
        return
    hash_ = sha256(text.encode()).hexdigest()
    if hash_ not in parts:
        parts[hash_] = zlib.compress(canonical_text(_pieces(child, parts)).encode(), 9)
    pieces += [hash_, ""]


def _written(value: Any) -> str:
    """The canonical text of a value that was read from one: names are in order, numbers in their spelling.

    That the whole gives the same text again is looked at in `split`.
    """
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False)


def named(form: str) -> set[str]:
    """The hashes of the parts that a form, or the text of a part, names itself."""
    return set(_read(form)[1::2])


def _read(form: str) -> tuple[str, ...]:
    """The pieces of a form; a text that is kept as itself, or a form that is not as it was written, is one
    piece.
    """
    if not form.startswith("["):
        return (form,)
    try:
        pieces: list[str] = json.loads(form)
        as_written = all(isinstance(one, str) for one in pieces) and canonical_text(pieces) == form
    except (ValueError, JsonError):
        return (form,)
    return tuple(pieces) if as_written else (form,)


@lru_cache(maxsize=MOST_READ)
def _opened_and_read(body: bytes | None) -> tuple[str, ...]:
    """The pieces of a part from how it is kept: most parts of a sheet are those of the sheet before."""
    return _read(opened(body))


def _joined(pieces: tuple[str, ...], parts: Mapping[str, tuple[str, ...]]) -> str:
    return "".join(_joined(parts[one], parts) if place % 2 else one for place, one in enumerate(pieces))


def opened(body: bytes | None) -> str:
    """The text of a part from how it is kept; empty for one that is gone or damaged."""
    try:
        return zlib.decompress(body or b"").decode()
    except (zlib.error, UnicodeDecodeError):
        return ""
