"""What to measure next: the readings that would tell most of a tank as it is known today."""

from __future__ import annotations

from lightdose import __version__
from lightdose.analysis import Analysis, analyse
from lightdose.files.library import calibration_sources, reference_tables
from lightdose.files.reading_rules import sole_meter
from lightdose.files.typed_values import named_meter
from lightdose.model.plans import Survey
from lightdose.model.setup import Setup


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
        If there is no such meter, or the setup cannot be computed.
    """
    from lightdose.fit.survey import plan_survey

    name = meter or sole_meter(setup.meters, "umol") or sole_meter(setup.meters, "lux")
    used = None if name is None else named_meter(setup, name)
    unscaled = any(c.flux is None for f in setup.lit_fixtures for c in f.type.channels)
    analysis = None if unscaled and not setup.calibration else analyse(setup)
    survey = plan_survey(
        bare,
        used,
        analysis.verdicts if analysis else None,
        reference_tables(),
        calibration_sources([used] if used else []),
        count=count,
        version=__version__,
    )
    return survey, analysis
