"""What a shop's file leaves out of the floor under its lines, and what counts then.

Rules of this module:
- A floor of nothing would ask at the display's last digit and call the second setup wrong: what is left out
  has a stated value, named with where it comes from, so that a lead can write a better one into the file.
- The file's own text is looked at: a value that stands there is never taken for one that counts without it,
  because a shop may well mean the same number.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from decimal import Decimal
from typing import cast

from webapp.domain.plain.errors import Finding
from webapp.domain.shop.shop import (
    SHIPPED_EXPANDING_LENGTH_NM,
    SHIPPED_U_AXIS_NM,
    SHIPPED_U_PROBE_NM,
    SHIPPED_U_SEAT_NM,
    ShopRules,
)
from webapp.domain.shop.shop_file import Table, name_and_unit

NM_PER_UM, NM_PER_MM = 1_000, 1_000_000
# Table, field, what counts where it is left out, and its unit.
FLOOR: tuple[tuple[str, str, float, str], ...] = (
    ("machine", "u_axis_nm", max(SHIPPED_U_AXIS_NM.values()) / NM_PER_UM, "µm"),
    ("probe", "u_probe_nm", SHIPPED_U_PROBE_NM / NM_PER_UM, "µm"),
    ("fixture", "u_seat_nm", SHIPPED_U_SEAT_NM / NM_PER_UM, "µm"),
    ("fixture", "expanding_length_nm", SHIPPED_EXPANDING_LENGTH_NM / NM_PER_MM, "mm"),
    ("shop", "temperature_half_range_kelvin", ShopRules.temperature_half_range_kelvin, "K"),
    ("shop", "expansion_um_per_m_kelvin", ShopRules.expansion_um_per_m_kelvin, "µm/(m·K)"),
)


def left_out_of_floor(text: str) -> list[Finding]:
    """Return what a sound shop file leaves out of the floor:
    place, value and unit that count, one for each item.
    """
    tables = tomllib.loads(text, parse_float=Decimal)
    return [
        Finding(
            f"shop_file.left_out_{field.removesuffix('_nm')}",
            {"place": place, "value": f"{value:g}", "unit": unit},
        )
        for table, field, value, unit in FLOOR
        for place, row in _rows(tables, table)
        if field not in {name_and_unit(key, {field})[0] for key in row}
    ]


def _rows(tables: Table, table: str) -> Iterator[tuple[str, Table]]:
    found = cast("Table | list[Table]", tables.get(table, []))
    if isinstance(found, list):
        yield from ((f"{table} “{row['id']}”", row) for row in found)
    else:
        yield table, found
