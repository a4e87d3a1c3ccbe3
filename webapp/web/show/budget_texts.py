"""The lines and results of an uncertainty budget as the texts that a page shows."""

from __future__ import annotations

from typing import Any

from webapp.domain.budget.lead_correlations import LeadCorrelation
from webapp.domain.budget.lines import CHANGEABLE, SHOP_LINES, THERMAL, NamedLine
from webapp.domain.budget.monte_carlo import MonteCarlo
from webapp.domain.plain.lengths import Display, Unit, format_length
from webapp.services.numbers.budgeting import AxisBudget, MachineBudget
from webapp.web.show.shown_values import plain

SHOP_NAMES = {f"budget.{name}" for name in SHOP_LINES}


def run_texts(run: MonteCarlo, one: AxisBudget, unit: str) -> dict[str, Any]:
    """The Monte Carlo run beside an axis."""
    half_nm = (run.high_nm - run.low_nm) / 2
    wider = 100 * abs(one.result.expanded_nm / half_nm - 1)
    return {
        "draws": f"{run.draws:,}".replace(",", " "),
        "low": signed_fine(run.low_nm, unit),
        "high": signed_fine(run.high_nm, unit),
        "error": finest(max(run.low_error_nm, run.high_error_nm), unit),
        "tolerance": finest(run.tolerance_nm, unit),
        "apart": finest(run.apart_nm(one.result), unit),
        "verdict": run.verdict,
        "by": f"{wider:.1f}",
        "law_is_wider": one.result.expanded_nm > half_nm,
    }


def pair_texts(word: LeadCorrelation, found: MachineBudget) -> dict[str, Any]:
    """What a lead said of two lines; it waits where one of them is not there."""
    lines = {named.id: line_name(named) for axis in found.axes for named in axis.lines}
    return {
        "word": word,
        "one": lines.get(word.one, word.one),
        "other": lines.get(word.other, word.other),
        "on": word.axis or "every axis",
        "coefficient": word.coefficient.replace("-", "−"),
        "waits": not {word.one, word.other} <= set(lines),
    }


def line_name(named: NamedLine) -> str:
    """What a line is called: the shop's own lines in the catalogue's words, a lead's in theirs."""
    return plain(named.line.name_code) if named.line.name_code in SHOP_NAMES else named.line.name_code


def lines_with_shares(one: AxisBudget) -> list[tuple[NamedLine, float]]:
    """Each line of an axis with its share of the variance, 0 to 1."""
    return list(zip(one.lines, one.result.shares, strict=True))


def axis_texts(one: AxisBudget, unit: str) -> dict[str, Any]:
    """The result of an axis."""
    result = one.result
    degrees = result.degrees_of_freedom
    return {
        "axis": one.axis,
        "combined": fine(result.combined_nm, unit),
        "expanded": fine(result.expanded_nm, unit),
        "factor": f"{result.coverage_factor:.2f}",
        "degrees": "∞" if degrees is None else f"{degrees:.1f}",
        "confidence": f"{100 * result.confidence:.6g} %",
    }


def line_texts(named: NamedLine, share: float, unit: str) -> dict[str, Any]:
    """One line of the table, with its share of 1."""
    found = named.line
    distribution = found.distribution
    value = f"±{found.value:g} K" if named.id == THERMAL else fine(found.value, unit)
    return {
        "id": named.id,
        "name": line_name(named),
        "value": value,
        "distribution": plain(f"budget.{distribution.value}"),
        "divisor": f"{distribution.divisor:.3f}".rstrip("0").rstrip("."),
        "sensitivity": f"{found.sensitivity / Unit(unit).nm:.6f} {unit}/K" if named.id == THERMAL else "1",
        "standard": fine(found.standard_nm, unit),
        "degrees": "∞" if found.degrees_of_freedom is None else f"{found.degrees_of_freedom:g}",
        "source": plain(found.source) if found.source.startswith("budget.source_") else found.source,
        "share": f"{100 * share:.1f}",
        "bar": f"{100 * share:.2f}",
        "by_lead": named.by_lead,
        "widened": named.widened,
        "changeable": named.id in CHANGEABLE or named.id not in SHOP_LINES,
    }


def fine(value_nm: float, unit: str) -> str:
    """A small length in the machine's unit:
    ten thousandths of a millimetre, hundred thousandths of an inch.
    """
    return format_length(round(value_nm), Display(Unit(unit), 4 if unit == "mm" else 5), sign=False)


def finest(value_nm: float, unit: str) -> str:
    """What is smaller than the budget's own figures: to ten nanometres, or a millionth of an inch."""
    return f"{value_nm / Unit(unit).nm:.{5 if unit == 'mm' else 6}f}"


def signed_fine(value_nm: float, unit: str) -> str:
    """The same with its sign."""
    return ("−" if value_nm < 0 else "+") + fine(abs(value_nm), unit)


def plain_length(value_nm: int, display: Display) -> str:
    """A length as somebody would type it, without the noughts at its end."""
    text = format_length(value_nm, display, sign=False)
    return text.rstrip("0").rstrip(".") if "." in text else text
