"""The files attached to a PDF, and what lies at an offset of it."""

from collections.abc import Iterator
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.reader import PdfFileReader

MOST_ATTACHMENTS = 64
DEEPEST_TREE = 8


class AttachmentsUnreadableError(ValueError):
    """The attachments cannot be read in one way only."""


@dataclass(frozen=True, slots=True)
class Place:
    """What an offset of a PDF belongs to:
    object number, kind ("attachment", "page", "other"), name or number.
    """

    object_number: int
    kind: str
    name: str


def attachments(pdf: bytes) -> dict[str, bytes]:
    """Name to bytes of every attached file, read strictly. Raises AttachmentsUnreadableError."""
    reading = "the structure of the file"
    try:
        found = list(_named_streams(PdfFileReader(BytesIO(pdf), strict=True)))
        files = {}
        for name, stream in found:
            reading = name
            files[name] = stream.data
    except Exception as error:
        # pyHanko has many errors for bytes that it cannot read; all of them mean the same here.
        raise AttachmentsUnreadableError(f"{reading}: {str(error)[:200]}") from error
    if len(files) != len(found):
        raise AttachmentsUnreadableError("two attachments have one name")
    return files


def place_of(pdf: bytes, offset: int) -> Place:
    """What the byte at `offset` of this PDF, which can be read, belongs to."""
    reader: Any = PdfFileReader(BytesIO(pdf), strict=True)
    starts = dict(_starts(reader))
    number = starts.get(max((start for start in starts if start <= offset), default=-1), 0)
    for name, stream in _named_streams(reader):
        if stream.container_ref.idnum == number:
            return Place(number, "attachment", name)
    for page_number in range(1, int(reader.root["/Pages"]["/Count"]) + 1):
        page = reader.find_page_for_modification(page_number - 1)[0].get_object()
        if page.raw_get("/Contents").idnum == number:
            return Place(number, "page", str(page_number))
    return Place(number, "other", "")


def _starts(reader: Any) -> Iterator[tuple[int, int]]:
    """Offset and number of every object that stands by itself (not inside an object stream)."""
    for revision in range(reader.xrefs.total_revisions):
        for reference in reader.xrefs.explicit_refs_in_revision(revision):
            start = reader.xrefs[reference]
            if isinstance(start, int):
                yield start, reference.idnum


def _named_streams(reader: Any) -> Iterator[tuple[str, Any]]:
    """Name and stream of every embedded file in the catalog's name tree (ISO 32000-2 clause 7.7.4, from
    memory).
    """
    names = reader.root.get("/Names")
    if not names or "/EmbeddedFiles" not in names:
        return
    for seen, (_, specification) in enumerate(_leaves(names["/EmbeddedFiles"], 0)):
        if seen >= MOST_ATTACHMENTS:
            raise AttachmentsUnreadableError("too many attachments")
        name = specification["/UF"] if "/UF" in specification else specification["/F"]
        yield str(name), specification["/EF"]["/F"]


def _leaves(node: Any, depth: int) -> Iterator[tuple[Any, Any]]:
    if depth > DEEPEST_TREE:
        raise AttachmentsUnreadableError("the tree of attachments is too deep")
    if "/Names" in node:
        pairs = _items(node["/Names"])
        yield from zip(pairs[::2], pairs[1::2], strict=True)
    for kid in _items(node["/Kids"]) if "/Kids" in node else ():
        yield from _leaves(kid, depth + 1)


def _items(array: Any) -> list[Any]:
    """The objects of an array with references followed, which plain iteration does not do."""
    return [array[place] for place in range(len(array))]
