"""What is attached to a PDF, where its tree of names was made to be endless."""

from __future__ import annotations

from typing import Any

import pytest

from webapp.proof.pdf import pdf_attachments
from webapp.proof.pdf.pdf_attachments import AttachmentsUnreadableError


def tree_of(levels: int) -> dict[str, Any]:
    """A name tree with one name, so many levels below its root."""
    node: dict[str, Any] = {"/Names": ["record.json", {}]}
    for _ in range(levels):
        node = {"/Kids": [node]}
    return node


def test_a_name_eight_levels_below_the_root_is_read_and_one_deeper_is_not() -> None:
    assert list(pdf_attachments._leaves(tree_of(8), 0)) == [("record.json", {})]
    with pytest.raises(AttachmentsUnreadableError, match="too deep"):
        list(pdf_attachments._leaves(tree_of(9), 0))
