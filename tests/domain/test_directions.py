"""Controls of text direction are shown by name and change no order."""

import unicodedata

from webapp.domain.plain.directions import shown, shown_value


def test_every_control_of_direction_of_unicode_is_shown_by_its_code_point() -> None:
    """Python's own Unicode tables name them:
    all of a bidirectional class of their own, and the three marks.
    """
    classes = {"LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI"}
    marks = {unicodedata.lookup(name) for name in ("LEFT-TO-RIGHT MARK", "RIGHT-TO-LEFT MARK")}
    marks.add(unicodedata.lookup("ARABIC LETTER MARK"))
    controls = {
        chr(code) for code in range(0x110000) if unicodedata.bidirectional(chr(code)) in classes
    } | marks
    assert len(controls) == 12
    for control in controls:
        assert shown(f"a{control}b") == f"a[U+{ord(control):04X}]b"


def test_other_texts_and_values_stay_as_they_are() -> None:
    for text in ("", "Ø 6 mm", "שלום", "a\tb\n", "e\u0301", "\u200d"):
        assert shown(text) == text
    assert shown_value(7) == 7
    assert shown_value("\u202e") == "[U+202E]"
