"""On what the numbers stand: the first line of every answer."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightdose.model.fixture import CosineLobe
from lightdose.model.results import Basis
from lightdose.model.setup import Setup

if TYPE_CHECKING:
    from lightdose.model.calibration import Calibration


def basis_of(setup: Setup) -> Basis:
    """Whether a setup's light stands on readings, data sheets or typical values, in one sentence.

    The weakest channel of the enabled fixtures decides; a fixture that no reading saw stands on its file.

    Source
    ------
    The factor of 2 on typical efficiencies and 0.6 to 1.05 on data sheets are our choice, from memory of
    data sheets that state an ideal driver, a cool LED and no lens; no published source.
    """
    calibration = setup.calibration
    unread = [f for f in setup.lit_fixtures if calibration is None or not calibration.measures(f.name)]
    if calibration is not None and not unread and setup.lit_fixtures:
        return Basis("measured", measured_sentence(calibration))
    channels = [(f, c) for f in unread for c in f.type.channels]
    typical = sorted({f.name for f, c in channels if c.flux is not None and c.flux.typical})
    assumed = sorted({f.name for f, c in channels if isinstance(c.beam, CosineLobe) and c.beam.assumed})
    beam = f"; beam of {_names(assumed)} assumed 120 deg wide" if assumed else ""
    lead = "Unmeasured"
    if len(unread) < len(setup.lit_fixtures):
        lead = f"Unmeasured in part ({_names([f.name for f in unread])} saw no reading)"
    if typical:
        return Basis(
            "typical values",
            f"{lead}: typical values for {_names(typical)}, good to a factor of 2{beam}.",
        )
    return Basis(
        "data sheet",
        f"{lead}: stands on data-sheet values; count on 0.6 to 1.05 of them (our choice){beam}.",
    )


def measured_sentence(calibration: Calibration) -> str:
    """The first line of an answer that stands on readings.

    Parameters
    ----------
    calibration : Calibration

    Returns
    -------
    str

    Source
    ------
    Our wording.
    """
    count = calibration.readings
    meters = f" with {', '.join(calibration.meters)}" if calibration.meters else ""
    tied = sorted({g.channel for g in calibration.gains if g.tied_to is not None})
    ties = f"; {_names(tied)} not told apart by them" if tied else ""
    if len(calibration.gains) > 1 and all(g.tied_to is not None for g in calibration.gains):
        ties = "; channels not told apart by them"
    return f"Measured: {count} reading{'s' if count != 1 else ''} of {calibration.date}{meters}{ties}."


def _names(names: list[str]) -> str:
    return ", ".join(repr(n) for n in names)
