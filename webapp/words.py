"""The words that a person reads, by code.

Rules of this module:
- One flat JSON file per subject under `static/words/<language>/`: code to whole sentence, `{field}` where a
  field goes. The browser reads the same files, so both say the same.
- A field whose name ends in `_code` holds another code; its words are put in. Nothing else is interpreted:
  what a person typed stays as it is.
- A code without words, a field without a value or a code in two files is a fault of the program and raised.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from webapp.domain.plain.errors import Refusal

WORDS_FOLDER = Path(__file__).resolve().parent.parent / "static" / "words"
PLACEHOLDER = re.compile(r"\{([a-z][a-z0-9_]*)\}")


class Said(Refusal):
    """A refusal that a terminal or a log reads: `str()` is its sentence."""

    def __str__(self) -> str:
        return say(self.code, self.fields)


class SaidByCode(Said):
    """A kind of such refusals that has many sentences: which one, and its fields, is said where it is raised.
    `tests/domain/test_errors.py` reads every such place.
    """

    def __init__(self, code: str, **fields: str | int) -> None:
        Exception.__init__(self, code, fields)
        self.code = code
        self.fields = fields


class NoWordsError(LookupError):
    """A code has no sentence, a sentence's field has no value, or two files carry the same code."""


def say(code: str, fields: Mapping[str, str | int] | None = None, language: str = "en") -> str:
    """Return the sentence of `code` with its fields put in. Raises `NoWordsError`."""
    return fill(catalogue(language), code, fields or {})


@lru_cache
def catalogue(language: str = "en", folder: Path = WORDS_FOLDER) -> Mapping[str, str]:
    """Return code to sentence from all files of the language, read once. Raises `NoWordsError` for a code
    in two files.
    """
    merged: dict[str, str] = {}
    for path in sorted((folder / language).glob("*.json")):
        words: dict[str, str] = json.loads(path.read_text(encoding="utf-8"))
        twice = sorted(merged.keys() & words.keys())
        if twice:
            raise NoWordsError(f"{path.name} repeats {', '.join(twice)}")
        merged.update(words)
    return MappingProxyType(merged)


def fill(words: Mapping[str, str], code: str, fields: Mapping[str, str | int]) -> str:
    """Return the sentence of `code` in `words` with its fields put in. Raises `NoWordsError`."""
    if code not in words:
        raise NoWordsError(f"no words for {code}")

    def value(match: re.Match[str]) -> str:
        name = match.group(1)
        if name not in fields:
            raise NoWordsError(f"{code} needs the field {name}")
        return fill(words, str(fields[name]), {}) if name.endswith("_code") else str(fields[name])

    return PLACEHOLDER.sub(value, words[code])
