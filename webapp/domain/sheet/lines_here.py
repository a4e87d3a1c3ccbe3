"""What the lines of an axis are worked out from, at this machine with this fixture and probe:
what is known without history, and what the lead chose.
"""

from __future__ import annotations

from webapp.domain.shop.fitted_machine import FittedMachine
from webapp.domain.shop.shop import ShopRules
from webapp.domain.usual.usual import FloorInputs, LinesChoice

# The finest ask line as shipped, by the machine's unit; how many setups make a stop line hold;
# how much rarer than a false ask a false stop is where nobody chose (common practice, no source).
LEAST_ASK_NM = {"mm": 10_000, "in": 12_700}
EARLY_SETUPS = 5
STOP_RARER = 10


def floor_inputs(fitted: FittedMachine, axis: str) -> FloorInputs:
    """Return what is known about the scatter of one axis without history."""
    return FloorInputs(
        u_probe_nm=fitted.probe.u_probe_nm,
        u_axis_nm=fitted.machine.u_axis_nm[axis],
        u_seat_nm=fitted.fixture.u_seat_nm,
        expansion_per_kelvin=fitted.rules.expansion_um_per_m_kelvin * 1e-6,
        length_nm=fitted.fixture.expanding_length_nm,
        temperature_half_range_kelvin=fitted.rules.temperature_half_range_kelvin,
    )


def lines_choice(rules: ShopRules, axis: str, unit: str) -> LinesChoice:
    """Return what the lead chose for the lines of this axis on machines of this unit, "mm" or "in"."""
    length_nm = rules.stop_z_nm if axis == "Z" else rules.stop_xy_nm
    least_nm = LEAST_ASK_NM[unit] if rules.least_ask_nm is None else rules.least_ask_nm
    return LinesChoice(
        rules.ask_one_in,
        rules.ask_one_in * STOP_RARER if rules.stop_one_in is None else rules.stop_one_in,
        rules.ceiling_nm,
        rules.coverage_factor,
        length_nm if rules.stop_one_in is None else None,
        least_nm,
        EARLY_SETUPS,
    )
