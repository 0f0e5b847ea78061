"""How a coral follows its light: the acclimated dose lags behind the dose.

dA/dt = (D - A) / tau, with A the dose that the coral is set for and D the dose it gets. tau is 20 days by
default (our choice within what was seen), 4 to 40 in range: symbiont pigment 2-4 d and symbiont density
within 40 d in Stylophora pistillata (Sesoko study), Fv/Fm 3-5 d in Pachyseris speciosa and over 20 d in
Acropora millepora (DiPerna et al. 2018, PLoS ONE 13:e0203882), within 21 d in Acropora muricata (2019, J Exp
Biol 222:jeb195982).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from lightdose.model.arrays import FloatArray

TAU_D = (4.0, 20.0, 40.0)
"""Shortest, usual and longest time of the lag. [d]"""

LAG_SOURCE = (
    "first-order lag, our model; times from Stylophora pistillata, Sesoko acclimation study (abstract); "
    "DiPerna et al. 2018, PLoS ONE 13:e0203882; Acropora muricata 2019, J Exp Biol 222:jeb195982"
)


def acclimated_dose(
    start_mol_m2_d: npt.ArrayLike, dose_mol_m2_d: npt.ArrayLike, days: npt.ArrayLike, tau_d: npt.ArrayLike
) -> FloatArray:
    """The dose that a coral is set for after some days at a constant dose.

    A = D + (A0 - D) exp(-days / tau)

    Parameters
    ----------
    start_mol_m2_d : array
        What it was set for at the start. [mol m-2 d-1]
    dose_mol_m2_d : array
        What it gets. [mol m-2 d-1]
    days : array
        [d]
    tau_d : array
        Time of the lag, above 0. [d]

    Returns
    -------
    array, the common shape
        [mol m-2 d-1]

    Source
    ------
    Closed form of a first-order lag; see the head of this module for its times.
    """
    start, dose = np.asarray(start_mol_m2_d, dtype=np.float64), np.asarray(dose_mol_m2_d, dtype=np.float64)
    fading = np.exp(-np.asarray(days, dtype=np.float64) / np.asarray(tau_d, dtype=np.float64))
    followed: FloatArray = dose + (start - dose) * fading
    return followed


def steady_mismatch(rise_per_week: float, tau_d: float) -> float:
    """Dose over acclimated dose under a steady rise that has gone on for long.

    Parameters
    ----------
    rise_per_week : float
        0.1 is 10 %.
    tau_d : float
        [d]

    Returns
    -------
    float

    Source
    ------
    Exponential rise through a first-order lag: D/A -> 1 + tau ln(1 + g) / 7.
    """
    return 1 + tau_d * math.log1p(rise_per_week) / 7


def weeks_to_rise(factor: float, rise_per_week: float) -> float:
    """Weeks of a steady rise until the dose has grown by a factor.

    Parameters
    ----------
    factor : float
        Above 0.
    rise_per_week : float
        Above 0; 0.1 is 10 %.

    Returns
    -------
    float
        [weeks]

    Source
    ------
    ln(factor) / ln(1 + g).
    """
    return math.log(factor) / math.log1p(rise_per_week)
