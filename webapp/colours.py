"""The colours, each once: what charts, record, icons and the tablet's shell draw with.

`static/css/tokens.css` says the same to browsers under the same names,
and `templates/record/record.css` prints with them;
a test holds both to this table, and finds any colour that stands anywhere else.
"""

from collections.abc import Mapping

LIGHT: Mapping[str, str] = {
    "paper": "#f7f5ef",
    "plate": "#fffdf7",
    "tint": "#efe9d6",
    "ink": "#15181b",
    "soft": "#41474c",
    "rule": "#6b7176",
    "hair": "#d5d2c8",
    "focus": "#0b4f8a",
    "agrees": "#1a552e",
    "ask": "#6d4300",
    "stop": "#951a1a",
    "danger": "#9b2423",
    "on-danger": "#ffffff",
    "warning": "#ee7f1b",
    "on-warning": "#000000",
    "caution": "#f9b000",
    "on-caution": "#000000",
    "notice": "#005387",
    "on-notice": "#ffffff",
}
# Where the device asks for dark; what is not here stays as it is.
DARK: Mapping[str, str] = {
    "paper": "#14171a",
    "plate": "#1b1f23",
    "tint": "#2b2a22",
    "ink": "#f2efe6",
    "soft": "#c3c0b6",
    "rule": "#8f959a",
    "hair": "#363b40",
    "focus": "#9accff",
    "agrees": "#8fd6a6",
    "ask": "#f0c065",
    "stop": "#ffa59d",
}
# A hairline in print, darker than on a screen so that it does not break up.
PRINTED_HAIR = "#c9c5b8"
