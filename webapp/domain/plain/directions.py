"""Controls of text direction in what people typed: shown by name, never obeyed.

Rules: the marks, embeddings, overrides and isolates of the Unicode bidirectional algorithm (UAX #9, section
2) can show a text in another order than it was typed in. What was typed stays as it is; where it is shown,
each stands as its name. The browser's twin is `static/js/ui/dom.js`.
"""

import re

_CONTROLS = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")


def shown(text: str) -> str:
    """The text with each control of direction as its code point, like [U+202E]."""
    return _CONTROLS.sub(lambda found: f"[U+{ord(found.group()):04X}]", text)


def shown_value(value: object) -> object:
    """A text so shown, anything else and markup as it is: for templates."""
    return shown(value) if type(value) is str else value
