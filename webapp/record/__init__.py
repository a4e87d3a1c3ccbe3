"""From a finished setup to the bytes of its PDF.

`render` and `render_unsigned` draw in this process, for a command that checks one file. A server asks
`webapp.record.press`, which draws in a process that can fetch nothing, and never loads the renderer itself.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:  # whoever starts a press, which gets ready meanwhile, need not wait for these
    from webapp.domain.record.bundle import RecordBundle


def render(bundle: RecordBundle) -> bytes:
    """Return the final PDF, ready to be sealed. The same bundle gives the same bytes.

    Raises `RecordNotFinalError` when the setup is not signed off, and what reading the files raises.
    """
    from webapp.record.page import typesetter  # noqa: PLC0415 - loads the renderer, some 100 MB

    return typesetter().pdf(bundle, final=True)


def render_unsigned(bundle: RecordBundle) -> bytes:
    """Return the page of a setup at any stage, marked NOT SIGNED OFF on each page, without files and without
    seal.
    """
    from webapp.record.page import typesetter  # noqa: PLC0415 - as above

    return typesetter().pdf(bundle, final=False)
