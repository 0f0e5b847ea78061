"""The slip that goes with a coral that leaves the shop: in what light it lived."""

from __future__ import annotations

from lightdose.model.record import dataclass
from lightdose.model.results import Basis, Caution, Verdict


@dataclass(frozen=True, eq=False)
class Slip:
    """What the next keeper needs to know of a coral's light.

    Attributes
    ----------
    verdict : the coral with its dose, peak, usual light, grade, sources and interval
    previous_mol_m2_d : its dose rounded down, to be typed into the next keeper's setup; None where there is
        no light, or more than a setup takes
    photoperiod_h, peak_equivalent_h : time above 5 % of the peak; hours at the peak that give the dose, NaN
        without light. [h]
    band_fraction : photons of each colour band per photon of 400-700 nm over the day, by the band's key; NaN
        without light
    safety : lines that go with every answer
    date : day of leaving, "2026-03-14"
    """

    title: str
    verdict: Verdict
    basis: Basis
    previous_mol_m2_d: float | None
    photoperiod_h: float
    peak_equivalent_h: float
    band_fraction: dict[str, float]
    safety: tuple[Caution, ...]
    date: str
    version: str
    inputs_sha256: dict[str, str]
