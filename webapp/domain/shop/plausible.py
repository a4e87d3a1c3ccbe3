"""Measures of a shop's file that can be and hardly are: a point slipped, inches for millimetres.

Rules of this module:
- What cannot be is refused elsewhere;
  here a value is only doubted, with what is usual for it. Nothing is changed.
- The ranges are those of ordinary vertical mills, vises and spindle probes (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterator

from webapp.domain.plain.errors import Finding
from webapp.domain.plain.lengths import NM_PER_MM
from webapp.domain.shop.shop import Fixture, Machine, Probe, ShopRules
from webapp.domain.shop.told_shop import Shop

MM = NM_PER_MM
NM_PER_UM = 1_000
MM_PER_IN = 25.4
COUNTED = ("value", "low", "high", "off")
# Field, what it is counted in, low and high of what is usual, both inside.
SHOP: tuple[tuple[str, str, float, float], ...] = (
    ("search_cap_nm", "mm", 4, 20),
    ("ceiling_nm", "mm", 0.1, 2),
    ("stop_xy_nm", "mm", 0.03, 1),
    ("stop_z_nm", "mm", 0.03, 1),
    ("safety_factor", "", 1.5, 4),
    ("temperature_half_range_kelvin", "K", 0.5, 15),
    ("expansion_um_per_m_kelvin", "µm/(m·K)", 5, 25),
)
MACHINE = (
    ("first_feed_mm_per_min", "mm/min", 50, 2000),
    ("fine_feed_mm_per_min", "mm/min", 5, 200),
    ("deceleration_mm_per_s2", "mm/s²", 100, 10_000),
    ("latency_s", "s", 0, 0.1),
    ("z_length_nm", "mm", 40, 400),
    ("fixed_search_nm", "mm", 4, 25),
)
FIXTURE = (
    ("jaw_length_nm", "mm", 50, 400),
    ("jaw_thickness_nm", "mm", 8, 80),
    ("jaw_height_nm", "mm", 15, 120),
    ("opening_nm", "mm", 10, 400),
    ("edge_break_nm", "mm", 0, 2),
    ("u_seat_nm", "µm", 0.5, 50),
    ("expanding_length_nm", "mm", 50, 2000),
)
PROBE = (
    ("ball_diameter_nm", "mm", 1, 10),
    ("stylus_reach_nm", "mm", 10, 150),
    ("overtravel_side_nm", "mm", 1, 20),
    ("overtravel_up_nm", "mm", 1, 15),
    ("u_probe_nm", "µm", 0.2, 20),
    ("radius_uncertainty_nm", "µm", 0, 20),
)
FARTHEST_RADIUS_NM = 100_000
USUAL = {"shop": SHOP, "machine": MACHINE, "fixture": FIXTURE, "probe": PROBE}


def usual_range(kind: str, name: str) -> dict[str, str] | None:
    """Return low, high and unit of what is usual for a field, as words; None where nothing is said."""
    for field, unit, low, high in USUAL.get(kind, ()):
        if field == name:
            return {"low": _plain(low), "high": _plain(high), "unit": unit}
    return None


def doubts(shop: Shop) -> list[Finding]:
    """Return what is to be looked at once more, in the order of the file:
    place, field, value, what is usual.
    """
    found = list(_outside("shop", shop.rules, SHOP))
    for machine in shop.machines:
        found += _outside(f"machine “{machine.id}”", machine, MACHINE)
        found += [
            Finding("plausible.nothing_known", {"place": f"machine “{machine.id}”, u_axis, {axis}"})
            for axis, value in machine.u_axis_nm.items()
            if value == 0
        ]
        if not machine.z_zero_at_top and machine.parked_z_nm is None:
            found.append(Finding("plausible.not_parked", {"place": f"machine “{machine.id}”, parked_z"}))
    for fixture in shop.fixtures:
        found += _outside(f"fixture “{fixture.id}”", fixture, FIXTURE)
    for probe in shop.probes:
        found += [*_outside(f"probe “{probe.id}”", probe, PROBE), *_radius(probe)]
    return found


def in_unit(doubt: Finding, unit: str) -> Finding:
    """Return the doubt in a reader's unit of lengths, "mm" or "in"; what has another unit stays as it is."""
    counted = str(doubt.fields.get("unit", ""))
    if unit != "in" or counted not in {"mm", "mm/min"}:
        return doubt
    inches = {
        name: f"{float(value) / MM_PER_IN:.4g}" for name, value in doubt.fields.items() if name in COUNTED
    }
    return Finding(doubt.code, {**doubt.fields, **inches, "unit": counted.replace("mm", "in", 1)})


def _outside(
    place: str, item: ShopRules | Machine | Fixture | Probe, usual: tuple[tuple[str, str, float, float], ...]
) -> Iterator[Finding]:
    for name, unit, low, high in usual:
        value = getattr(item, name)
        if value is None:
            continue
        counted = value / (MM if unit == "mm" else NM_PER_UM) if name.endswith("_nm") else value
        if not low <= counted <= high:
            yield Finding(
                "plausible.unlikely",
                {
                    "place": f"{place}, {name.removesuffix('_nm')}",
                    "value": _plain(counted),
                    "low": _plain(low),
                    "high": _plain(high),
                    "unit": unit,
                },
            )


def _radius(probe: Probe) -> Iterator[Finding]:
    off_nm = abs(probe.ball_diameter_nm / 2 - probe.effective_radius_nm)
    if off_nm > FARTHEST_RADIUS_NM:
        place = f"probe “{probe.id}”, effective_radius"
        yield Finding("plausible.radius", {"place": place, "off": _plain(off_nm / MM), "unit": "mm"})


def _plain(value: float) -> str:
    return f"{value:.6g}"
