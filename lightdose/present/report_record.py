"""Everything that a report prints, gathered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lightdose.model.appearance import LooksAndGets
from lightdose.model.explaining import ColourOrIntensity, DiminishingReturn
from lightdose.model.maps import LightMap
from lightdose.model.results import Analysis, SiteDay, SiteSpectrum
from lightdose.model.setup import LengthUnit
from lightdose.model.try_change import TryChange
from lightdose.present.report_comparison import Compared


@dataclass(frozen=True, eq=False)
class Report:
    """Everything that the page prints.

    Attributes
    ----------
    analysis : intervals included
    days, spectra : at the sites that figures show; spectra differ little within a tank, so one may do
    light : slices of the tank, the plan first; None where there is nothing to map
    looks : of every receiver
    compared : another setup beside this one
    variation : how the setup was changed on the command line, in words, or ""
    """

    analysis: Analysis
    unit: LengthUnit
    days: Sequence[SiteDay]
    spectra: Sequence[SiteSpectrum]
    light: LightMap | None = None
    looks: Sequence[LooksAndGets | None] = ()
    more_light: DiminishingReturn | None = None
    colour: ColourOrIntensity | None = None
    change: TryChange | None = None
    compared: Compared | None = None
    variation: str = ""
