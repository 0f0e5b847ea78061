"""What to measure next, and what readings say of the lamps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from lightdose import __version__
from lightdose.analysis import Analysis, judged_under, light_of
from lightdose.errors import Place, Problem, SetupError
from lightdose.files.library import calibration_sources, reference_tables
from lightdose.files.reading_rules import sole_meter
from lightdose.files.typed_values import named_meter
from lightdose.judge.uncertain_inputs import basis_of, measured_sentence
from lightdose.model.calibration import CalibrationFit
from lightdose.model.plans import Survey
from lightdose.model.results import Basis
from lightdose.model.setup import Setup
from lightdose.physics.field_limits import refuse_too_many_changes

if TYPE_CHECKING:
    from lightdose.fit.calibration_problem import CalibrationRequest


MOST_FIXTURES: Final = 60
"""Fixtures of one survey: as many take about 10 s, the cost grows with their cube. Our choice."""


def planned_survey(
    setup: Setup, bare: Setup, *, meter: str | None = None, count: int | None = None
) -> tuple[Survey, Analysis | None]:
    """The survey, and the analysis whose open verdicts it serves.

    Without a name the meter is the setup's only one, or the only one that reads photons. Where a fixture
    states no output nothing is known of the light, so there is no analysis: readings are to find it.

    Parameters
    ----------
    setup, bare : as it is known, and without its calibration, as `calibrate` starts
    meter : its name in the setup
    count : of readings; 6 to 10 by default

    Raises
    ------
    SetupError
        If there is no such meter, there are too many corals or fixtures, or the setup cannot be computed.
    """
    from lightdose.fit.observations import TIMES_LIT
    from lightdose.fit.survey import plan_survey
    from lightdose.workflows.placing import refuse_too_many

    refuse_too_many(setup, "survey")
    if (lit := len(setup.lit_fixtures)) > MOST_FIXTURES:
        cure = "plan for the fixtures over a part of the tank, in a setup of their own"
        problem = Problem(f"{lit} fixtures are too many for one survey", f"up to {MOST_FIXTURES}", cure)
        raise SetupError(problem.at(Place(setup.path)))
    name = meter or sole_meter(setup.meters, "umol") or sole_meter(setup.meters, "lux")
    used = None if name is None else named_meter(setup, name)
    unscaled = any(c.flux is None for f in setup.lit_fixtures for c in f.type.channels)
    analysis = None
    if not unscaled or setup.calibration:
        ready, field = light_of(setup)
        refuse_too_many_changes(setup.lit_fixtures, ready.lit, 0, TIMES_LIT)
        analysis = judged_under(setup, ready, field, certainty=True)
    survey = plan_survey(
        bare,
        used,
        analysis.verdicts if analysis else None,
        reference_tables(),
        calibration_sources([used] if used else []),
        count=count,
        version=__version__,
    )
    return replace(survey, measured_on=setup.calibration.date if setup.calibration else None), analysis


def calibrated(
    setup: Setup, readings: str, asked: CalibrationRequest
) -> tuple[CalibrationFit, Sequence[str]]:
    """What the readings of a file say of the lamps, and what was understood of it.

    Parameters
    ----------
    setup : as stated: without a calibration
    readings : the file

    Raises
    ------
    LightdoseError
        If the readings, or what is asked for, do not fit the setup.
    """
    from lightdose.files.readings_csv import check_sites, read_readings
    from lightdose.fit.calibration import calibrate
    from lightdose.fit.observations import unusable_readings

    check_sites(setup, sorted(asked.open_sky), "--open-sky")
    rows, understood = read_readings(Path(readings), readings, setup, unusable_readings)
    sources = calibration_sources(setup.meters.values())
    return calibrate(setup, rows, reference_tables(), sources, asked), understood


def basis_measured(setup: Setup, fit: CalibrationFit) -> Basis:
    """On what answers stand once the setup is measured so."""
    measured = replace(setup, calibration=fit.calibration)
    return replace(basis_of(measured), sentence=measured_sentence(fit.calibration))
