"""A list of the desk as a file: the rows that the page shows, as a table or as JSON.

Rules: a file has the rows of the page and no others; no cell of a table is a formula to the program that
opens it; times are UTC as kept, and the shop's own beside them; that the list leaves stands on the ledger
before it does.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from hashlib import sha256

from flask import Response, make_response, url_for

from webapp.domain.usual.history_columns import to_cell
from webapp.services.evidence import looked_at
from webapp.web.edge import denials, sessions
from webapp.web.edge.shop_zone import shop_moment

KINDS = {"csv": "text/csv; charset=utf-8", "json": "application/json"}
Row = Mapping[str, str]


def time_columns(name: str, at_utc: str | None = None) -> dict[str, str]:
    """The columns of a moment: the shop's time with its offset, then UTC."""
    return {f"{name}_shop": shop_moment(at_utc), f"{name}_utc": at_utc or ""}


def address(to: str, kept: Mapping[str, str], **more: str | None) -> str:
    """Where a list stands with these filters, those that ask for nothing left out."""
    given = {name: value for name, value in {**kept, **more}.items() if value}
    return url_for(to, _anchor=None, _method=None, _scheme=None, _external=None, **given)


def files(to: str, kept: Mapping[str, str], **more: str | None) -> dict[str, str]:
    """Where the rows of a page are given as a file, by form."""
    return {form: address(to, kept, form=form, **more) for form in KINDS}


def handed_out(
    what: str, form: str, columns: Sequence[str], rows: Sequence[Row], asked: Mapping[str, str]
) -> Response:
    """Some rows as a file, `form` "csv" or "json"; `asked` is what the address asked for."""
    text = _as_csv(columns, rows) if form == "csv" else json.dumps(rows, ensure_ascii=False, indent=1)
    digest = sha256(text.encode()).hexdigest()
    filtered = {name: value for name, value in asked.items() if value}
    data = {"form": form, "rows": len(rows), "asked": filtered}
    kind = looked_at.LISTED if what == "setups" else looked_at.OTHER_LIST
    denials.note_copy(sessions.signed_in(), kind, what, digest, data, of="sha256")
    answer = make_response(text)
    answer.headers["Content-Type"] = KINDS[form]
    answer.headers["Content-Disposition"] = f'attachment; filename="{what}.{form}"'
    return answer


def _as_csv(columns: Sequence[str], rows: Sequence[Row]) -> str:
    lines = [",".join(columns), *(",".join(to_cell(row[name]) for name in columns) for row in rows)]
    return "\r\n".join([*lines, ""])
