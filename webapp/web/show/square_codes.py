"""Square codes for a camera (ISO/IEC 18004) as pictures in a page."""

from __future__ import annotations

import io

import segno
from markupsafe import Markup

ENROLMENT = "zerokeep/enrol/1"


def square_code_svg(text: str, *, within_page: bool = False) -> bytes:
    """A picture of the code that holds the text; `within_page` without what a file of its own begins with."""
    written = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        written,
        kind="svg",
        scale=8,
        border=4,
        svgclass=None,
        lineclass=None,
        xmldecl=not within_page,
        svgns=not within_page,
        omitsize=within_page,
    )
    return written.getvalue()


def enrolment_text(address: str, code: str) -> str:
    """What a tablet's camera reads: where the server is and the one-time code, and nothing else.

    No link: a camera that is no tablet's opens nothing, and the code stays out of any list of addresses.
    """
    return f"{ENROLMENT} {address} {code}"


def enrolment_picture(address: str, code: str) -> Markup:
    """The same as a picture for the desk's page."""
    svg = square_code_svg(enrolment_text(address, code), within_page=True).decode()
    return Markup(svg)  # noqa: S704 - made here of modules that are black or white
