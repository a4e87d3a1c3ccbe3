"""How large a file unfolds, told before it is read;
and filters that are written so that it cannot be told.
"""

import zlib

import pytest

from webapp.proof.pdf.pdf_unfolding import swells

BOMB = zlib.compress(bytes(1_000_000))


def stream(filters: bytes, keyword: bytes = b"stream\n", data: bytes = BOMB) -> bytes:
    return b"<< " + filters + b" /Length 9 >>\n" + keyword + data + b"\nendstream"


@pytest.mark.parametrize("keyword", [b"stream\n", b"stream\r\n", b"stream \n", b"stream\t\0 \r\n"])
def test_a_stream_is_found_however_its_line_ends(keyword: bytes) -> None:
    assert swells(stream(b"/Filter /FlateDecode", keyword), 500_000)
    assert not swells(stream(b"/Filter /FlateDecode", keyword), 5_000_000)


@pytest.mark.parametrize(
    "filters",
    [
        b"/Filter [/FlateDecode /FlateDecode]",
        b"/F#69lter [/FlateDecode /FlateDecode]",
        b"/Filter /Fl#61teDecode",
        b"/Filter 9 0 R",
        b"/Filter [9 0 R]",
        b"/Filter % so\n [ /ASCIIHexDecode /FlateDecode ]",
        b"/Filter /LZWDecode",
    ],
)
def test_filters_that_do_not_let_it_be_told_count_as_too_large(filters: bytes) -> None:
    assert swells(stream(filters, data=b""), 5_000_000)


@pytest.mark.parametrize(
    "filters", [b"/Filter [/FlateDecode]", b"/Filter [ /FlateDecode ]", b"/Subtype /text#2Fcsv"]
)
def test_one_filter_in_a_list_and_other_names_are_looked_at_as_they_are(filters: bytes) -> None:
    assert not swells(stream(filters), 5_000_000)
    assert swells(stream(filters), 500_000)
