"""Why a procedure would prove nothing at one machine, though it can be published: steps stand, fall away or
change by a machine's profile, and what is left has to hold there as well.

Rules of this module:
- What a sheet of this machine would have is held against the same rules as the whole procedure
  (`webapp.domain.procedure.rules`): the steps that a record proves, in an order in which they prove it, each
  search with its own way over, no hand inside with the probe in the spindle.
- An axis that the fixture has no face on is not touched there; one touch at least has to be left.
- A stage of which no step stands is no fault: it is a mark of the scale without steps.
"""

from __future__ import annotations

from dataclasses import replace

from webapp.domain.plain.errors import Finding
from webapp.domain.procedure.procedure import Procedure
from webapp.domain.procedure.rules import faults
from webapp.domain.sheet.steps_here import Here, stages_here, step_here
from webapp.domain.shop.fitted_machine import FittedMachine


def faults_here(procedure: Procedure, fitted: FittedMachine) -> tuple[Finding, ...]:
    """Return every reason why the sheet of this machine would prove nothing; empty when it would hold."""
    return faults(_left_here(procedure, fitted))


def _left_here(procedure: Procedure, fitted: FittedMachine) -> Procedure:
    """Return the procedure of the steps that stand at this machine, as they are there."""
    staged = {stage.id for stage in procedure.stages}
    here = Here(fitted, [face for face in fitted.fixture.faces if face.axis.lower() in staged])
    stages = [
        replace(stage, steps=tuple(step_here(step, here) for step in stage.steps))
        for stage in stages_here(procedure, here)
        if stage.steps
    ]
    return replace(procedure, stages=tuple(stages))
