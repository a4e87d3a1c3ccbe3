"""The figures of a probe's check at small counts, and that they would show a check that says too much."""

from __future__ import annotations

import pytest

from tests.quality import checks_of_probes
from webapp.domain.probe import ring_check
from webapp.domain.probe.lobes import Lobes

SEED = 20261129


def test_every_bound_holds() -> None:
    found = list(checks_of_probes.rows(60, SEED))
    assert len(found) == 17
    assert [row.what for row in found if not row.holds] == []


def test_the_figures_see_a_check_that_names_no_lobes_and_one_that_doubles_the_standard_uncertainty(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ring_check, "lobes_of", lambda *_: Lobes("none_found"))
    monkeypatch.setattr(ring_check.spread, "t_quantile", lambda *_: 2.0)
    wrong = {row.what for row in checks_of_probes.rows(60, SEED) if not row.holds}
    assert {"three lobes, 7 places: named, per cent", "three lobes, 4 places: cannot show, per cent"} <= wrong
    assert "4 places: radius within what is stated, worst scatter, per cent" in wrong
