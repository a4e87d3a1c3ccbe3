"""What no record may hold: anything that acts, hides, fetches, or shows other content than the page's.

The list follows the published attacks on signed PDFs (pdf-insecurity.org: incremental saving, shadow and
certification attacks): scripts and actions, forms, optional-content layers, annotations, content kept outside
the file, encryption. Every object of every revision is looked at, also those that no page refers to.
"""

from collections.abc import Iterator
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.reader import PdfFileReader

_FORBIDDEN_NAMES = {
    "/JS": "script",
    "/JavaScript": "script",
    "/OpenAction": "action at opening",
    "/AA": "additional action",
    "/A": "action",
    "/OCProperties": "optional content",
    "/OC": "optional content",
    "/OCGs": "optional content",
    "/XFA": "form",
    "/NeedAppearances": "form",
    "/Collection": "portfolio",
    "/FFilter": "content outside the file",
    "/Encrypt": "encryption",
}
_FORBIDDEN_TYPES = {
    "/Action": "action",
    "/OCG": "optional content",
    "/OCMD": "optional content",
    "/RichMedia": "media",
    "/3D": "media",
}


_ACTIONS = {
    *(
        "/GoTo3DView",
        "/GoToE",
        "/GoToR",
        "/Hide",
        "/ImportData",
        "/JavaScript",
        "/Launch",
        "/Movie",
        "/Named",
    ),
    *(
        "/Rendition",
        "/ResetForm",
        "/RichMediaExecute",
        "/SetOCGState",
        "/Sound",
        "/SubmitForm",
        "/Thread",
        "/URI",
    ),
}


def forbidden_features(pdf: bytes, widgets: int) -> list[str]:
    """Names of what was found and should not be there, sorted; `widgets` annotations and fields are allowed
    (0 or 1).

    A file that cannot be read strictly gives ["unreadable"].
    """
    try:
        reader = PdfFileReader(BytesIO(pdf), strict=True)
        found = set(_found_in(reader, widgets))
    except Exception:  # noqa: BLE001 - whatever stops a strict reader makes the file unfit in the same way
        return ["unreadable"]
    return sorted(found)


def _found_in(reader: Any, widgets: int) -> Iterator[str]:
    if "/Encrypt" in reader.trailer:
        yield "encryption"
    annotations = listed = fields = 0
    for dictionary in _dictionaries(reader):
        yield from _named(dictionary)
        annotations += dictionary.get("/Type") == "/Annot" or "/Rect" in dictionary
        listed += len(dictionary.get("/Annots", ()))
        fields += "/FT" in dictionary
    if max(annotations, listed) > widgets:
        yield "annotation"
    if fields > widgets:
        yield "form"


def _named(dictionary: generic.DictionaryObject) -> Iterator[str]:
    for name in dictionary:
        # A structure element's /A holds attributes (ISO 32000-2 table 355), no action.
        is_structure = (
            name == "/A" and "/P" in dictionary and "/S" in dictionary and "/Rect" not in dictionary
        )
        if name in _FORBIDDEN_NAMES and not is_structure:
            yield _FORBIDDEN_NAMES[name]
    kind = dictionary.get("/Type")
    if kind in _FORBIDDEN_TYPES:
        yield _FORBIDDEN_TYPES[kind]
    if dictionary.get("/S") in _ACTIONS:
        yield "action"
    if isinstance(dictionary, generic.StreamObject) and "/F" in dictionary:
        yield "content outside the file"
    if isinstance(dictionary, generic.StreamObject) and "/Ref" in dictionary:
        yield "content of another file"


def _dictionaries(reader: Any) -> Iterator[generic.DictionaryObject]:
    """Every dictionary of every object of every revision, streams included, each object's own parts only.

    Object streams are read whole, once:
    looking their objects up one by one would read each stream as often as it has objects.
    """
    for revision in range(reader.xrefs.total_revisions):
        handler = reader.get_historical_resolver(revision)
        for reference in reader.xrefs.explicit_refs_in_revision(revision):
            if not isinstance(reader.xrefs.get_historical_ref(reference, revision), int):
                continue
            value = handler.get_object(reference)
            yield from _inside(value)
            if isinstance(value, generic.StreamObject) and value.get("/Type") == "/ObjStm":
                for item in _packed(value, handler):
                    yield from _inside(item)


def _packed(stream: generic.StreamObject, handler: Any) -> Iterator[Any]:
    """The objects of one object stream (ISO 32000-2 clause 7.5.7, from memory)."""
    data, first = stream.data, int(stream["/First"])
    header = [int(number) for number in data[:first].split()]
    if len(header) != 2 * int(stream["/N"]):
        raise ValueError("the head of an object stream does not fit its length")
    for number, offset in zip(header[::2], header[1::2], strict=True):
        source = BytesIO(data)
        source.seek(first + offset)
        yield generic.read_object(source, generic.Reference(number, 0, handler))


def _inside(value: Any) -> Iterator[generic.DictionaryObject]:
    waiting = [value]
    while waiting:
        item = waiting.pop()
        if isinstance(item, generic.DictionaryObject):
            yield item
            waiting.extend(item.raw_get(name) for name in item)
        elif isinstance(item, generic.ArrayObject):
            waiting.extend(item.raw_get(place) for place in range(len(item)))
