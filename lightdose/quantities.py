"""Exact constants, colour bands and the one table of quantities.

Nothing here computes: these are the names, units and numbers that every other module shares.
"""

from __future__ import annotations

from typing import Final, Literal

from lightdose.frozen import dataclass

# Exact by definition since 2019. Source: SI Brochure, 9th edition, table 1.
PLANCK_J_S: Final = 6.62607015e-34
LIGHT_SPEED_M_S: Final = 299_792_458.0
AVOGADRO_PER_MOL: Final = 6.02214076e23

PHOTONS_UMOL_PER_J_NM: Final = 1e-3 / (PLANCK_J_S * LIGHT_SPEED_M_S * AVOGADRO_PER_MOL)
"""Photons per joule and nanometre of wavelength: umol/J = this * lambda. [umol J-1 nm-1]"""

LUMINOUS_EFFICACY_LM_W: Final = 683.002
"""Maximum luminous efficacy of V(lambda), standard air. Source: CIE 018:2019, section 3."""

MOL_PER_UMOL_S_H: Final = 0.0036
"""Photon exposure of 1 umol m-2 s-1 in one hour. [mol m-2]"""

Z_95: Final = 1.959964
"""A normal number lies within so many standard deviations of its mean with 95 %."""

HOURS_PER_DAY: Final = 24.0
DAYS_PER_YEAR: Final = 365.25
METRES_PER_INCH: Final = 0.0254  # exact, international yard and pound agreement 1959

GRID_START_NM: Final = 300
GRID_END_NM: Final = 800
"""The working grid: 1 nm cells from 300 to 800 nm."""


@dataclass(frozen=True)
class Band:
    """A wavelength band, half-open [low, high)."""

    key: str
    name: str
    low_nm: float
    high_nm: float
    source: str


PPFD_BAND: Final = Band("ppfd", "PPFD", 400, 700, "CIE S 017:2020, photosynthetic photon; 400-700 nm")
BANDS: Final = (
    Band("uv_a", "UV-A", 315, 400, "CIE S 017:2020, UV-A"),
    Band("blue", "blue", 400, 500, "thirds of 400-700 nm: Park & Runkle 2023, PLoS ONE 18(2):e0281996"),
    Band("green", "green", 500, 600, "thirds of 400-700 nm: Park & Runkle 2023, PLoS ONE 18(2):e0281996"),
    Band("red", "red", 600, 700, "thirds of 400-700 nm: Park & Runkle 2023, PLoS ONE 18(2):e0281996"),
    Band("far_red", "far red", 700, 800, "Park & Runkle 2023, PLoS ONE 18(2):e0281996"),
)


@dataclass(frozen=True)
class Quantity:
    """One quantity that lightdose reports, to ``digits`` significant digits where people read it."""

    key: str
    symbol: str
    unit: str
    definition: str
    source: str
    digits: int = 3


@dataclass(frozen=True)
class ValueColumn:
    """A column of a CSV: header with the unit in its name, kind, what it means, and the unit."""

    name: str
    kind: Literal["string", "number", "integer", "boolean"] = "number"
    title: str = ""
    unit: str = ""


QUANTITIES: Final = (
    Quantity(
        "ppfd",
        "PPFD",
        "umol m-2 s-1",
        "photon irradiance, 400-700 nm, on a flat horizontal receiver that looks up (planar)",
        "IUPAC Gold Book P04637; CIE S 017:2020",
    ),
    Quantity(
        "dli",
        "DLI",
        "mol m-2 d-1",
        "PPFD summed over the 24 h of a repeating day: 0.0036 x integral of PPFD over hours",
        "photon exposure, CIE S 017:2020",
    ),
    Quantity("peak", "peak", "umol m-2 s-1", "highest PPFD of the day", "definition"),
    Quantity(
        "photoperiod", "lit", "h", "time in the day with PPFD above 5 % of the peak", "our choice of 5 %"
    ),
    Quantity("any_light", "any light", "h", "time in the day with any light of 300-800 nm", "definition"),
    Quantity(
        "peak_equivalent",
        "full hours",
        "h",
        "hours at the peak that give the same DLI: DLI / (0.0036 x peak)",
        "definition",
    ),
    Quantity(
        "band_dose",
        "band dose",
        "mol m-2 d-1",
        "photons of one colour band in the day",
        "bands: see the table of bands",
    ),
    Quantity("lux", "lux", "lx", "683.002 lm/W x integral of irradiance x V(lambda)", "CIE 018:2019"),
    Quantity(
        "usable",
        "usable share",
        "fraction of DLI",
        "PPFD weighted by what symbionts use of each wavelength, as a share: mean of five published curves, "
        "lowest and highest of nine; not growth",
        "Halldal 1968, Kuhl et al. 1995, Prezelin 1976, Wangpraseurt et al. 2014 and four curves without a "
        "full citation, by open-AIMS Light_calcs: spectra/zooxanthella/published.csv; such a share: Morel "
        "1978 (from memory)",
    ),
    Quantity(
        "hours_at_pmax",
        "at Pmax",
        "h",
        "hours at the highest rate that the day's gross photosynthesis (tanh, respiration not taken off) is "
        "worth, over the range of Ek",
        "tanh: Jassby & Platt 1976; ranges of Ek with their sources, or assumed: `groups`",
    ),
    Quantity(
        "above_saturation",
        "above Ek",
        "h",
        "time in the day with PPFD above Ek, where photosynthesis begins to saturate",
        "definition",
    ),
    Quantity(
        "beyond_saturation",
        "beyond Ek",
        "fraction of DLI",
        "photons on top of Ek: integral of what PPFD exceeds Ek by, over that of PPFD",
        "definition",
    ),
    Quantity(
        "energy", "energy", "kWh d-1", "electrical power at full output x output over the day", "definition"
    ),
    Quantity(
        "photon_efficacy",
        "photon efficacy",
        "umol J-1",
        "photons of 400-700 nm that the fixture emits in its programme per joule of electricity",
        "definition",
    ),
)
