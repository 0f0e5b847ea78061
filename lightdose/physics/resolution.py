"""Which nodes a spectrum is integrated on: its own when fine enough, interpolated ones when not."""

from __future__ import annotations

from typing import Literal

import numpy as np

from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.record import dataclass
from lightdose.model.spectrum import SpectralDistribution
from lightdose.physics.interpolation import pchip, sprague
from lightdose.physics.photons import photons_on_nodes, photons_per_joule

Resolution = Literal["resolved", "lines", "too coarse"]

FINE_STEP_NM = 2.0
"""Tables up to this step are integrated on their own nodes."""

_COARSE_STEP_NM, _COARSE_STEPS_PER_FWHM = 5.0, 2.5
"""Beyond 5 nm, a peak narrower than 2.5 steps errs in a band by 1 % (FWHM 20 nm at 10 nm) to 12 %
(FWHM 10 nm), in lux by up to 4 %, computed for LED shapes at every offset with Sprague interpolation; from
2.5 steps on it errs by less than 0.5 %. The limit is our choice."""

_LINE_STEPS_PER_FWHM = 1.25
"""A peak that narrow is one row: a line lamp in bins rather than an LED. Our choice."""

_PEAK_SHARE = 0.1
"""Peaks below this share of the highest value are not looked at: noise. Our choice."""


@dataclass(frozen=True, eq=False)
class PhotonNodes:
    """A spectrum as photons per nanometre on the nodes that integrals use.

    Attributes
    ----------
    wavelength_nm, photons_per_nm : arrays, shape (n,)
    resolution : "resolved"; "lines" a line lamp in bins, kept on its own nodes; "too coarse" only wide
        integrals such as PPFD may be used
    notes : what was done to the table, and what it cannot tell
    """

    wavelength_nm: FloatArray
    photons_per_nm: FloatArray
    resolution: Resolution
    notes: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "wavelength_nm", read_only(self.wavelength_nm))
        object.__setattr__(self, "photons_per_nm", read_only(self.photons_per_nm))


def photon_nodes(spectrum: SpectralDistribution) -> PhotonNodes:
    """The nodes and photons that every integral over this spectrum uses.

    Steps up to 2 nm: the spectrum's own nodes. Coarser even steps: Sprague to 1 nm or less, negatives set to
    zero; coarser uneven steps: monotone cubic. Line lamps in bins are not interpolated. Straight lines would
    err by up to 0.4 % in lux on narrow peaks.

    Parameters
    ----------
    spectrum : on its own nodes

    Returns
    -------
    PhotonNodes

    Source
    ------
    CIE 167:2005 for even steps; limits of resolution: our choice, computed (see the constants above).
    """
    nodes, values = spectrum.wavelength_nm, spectrum.values
    steps = np.diff(nodes)
    resolution, notes = _judge_resolution(nodes, photons_on_nodes(spectrum))
    if float(np.max(steps)) <= FINE_STEP_NM or resolution != "resolved":
        return PhotonNodes(nodes, photons_on_nodes(spectrum), resolution, notes)
    fine = _subdivide(nodes)
    even = nodes.size >= 6 and np.allclose(steps, steps[0], rtol=1e-6)
    dense = sprague(nodes, values, fine) if even else pchip(nodes, values, fine)
    negative = int(np.count_nonzero(dense < -1e-12 * values.max()))
    dense = np.clip(dense, 0.0, None)
    if spectrum.quantity == "power":
        dense = dense * photons_per_joule(fine)
    notes += (
        f"steps of {_step_text(steps)} interpolated to 1 nm ({'Sprague' if even else 'monotone cubic'})"
        + (f"; {_count(negative, 'interpolated value')} below zero set to zero" if negative else ""),
    )
    return PhotonNodes(fine, dense, resolution, notes)


def peak_widths(nodes: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Local maxima of a table, their full widths at half maximum and the smaller step beside them.

    The width is that of the Gaussian with the curvature of ln(value) through the peak's three nodes, which is
    right wherever the nodes fall on the peak; counting nodes above half maximum is not.

    Parameters
    ----------
    nodes : array, shape (n,). [nm]
    values : array, shape (n,)

    Returns
    -------
    peak_nm, fwhm_nm, step_nm : arrays, shape (n_peak,)

    Source
    ------
    FWHM = 2 sqrt(2 ln 2) sigma of a Gaussian; closed form.
    """
    floor = values.max() * 1e-12
    middle = values[1:-1]
    is_peak = (middle > values[:-2]) & (middle >= values[2:]) & (middle >= _PEAK_SHARE * values.max())
    i = np.flatnonzero(is_peak) + 1
    left, right = nodes[i] - nodes[i - 1], nodes[i + 1] - nodes[i]
    log_value = np.log(np.maximum(values, floor))
    rise = (log_value[i] - log_value[i - 1]) / left
    fall = (log_value[i + 1] - log_value[i]) / right
    curvature = np.maximum((rise - fall) / (0.5 * (left + right)), 1e-12)
    fwhm = 2 * np.sqrt(2 * np.log(2)) / np.sqrt(curvature)
    return nodes[i], fwhm, np.minimum(left, right)


def _judge_resolution(nodes: FloatArray, photons: FloatArray) -> tuple[Resolution, tuple[str, ...]]:
    peak_nm, fwhm_nm, step_nm = peak_widths(nodes, photons)
    coarse = (step_nm > _COARSE_STEP_NM) & (fwhm_nm < _COARSE_STEPS_PER_FWHM * step_nm)
    if np.any(coarse):
        worst = int(np.argmax(coarse))
        return "too coarse", (
            f"steps of {step_nm[worst]:g} nm are too coarse for the narrow peak at {peak_nm[worst]:g} nm: "
            "colour bands and lux could err by up to 10 %",
        )
    lines = (step_nm > FINE_STEP_NM) & (fwhm_nm < _LINE_STEPS_PER_FWHM * step_nm)
    if np.any(lines):
        worst = int(np.argmax(lines))
        return "lines", (
            f"the peak at {peak_nm[worst]:g} nm is a single row: taken as a line lamp in bins of "
            f"{step_nm[worst]:g} nm, not interpolated",
        )
    wide = step_nm > fwhm_nm / 2
    if np.any(wide):
        worst = int(np.argmax(wide))
        return "resolved", (
            f"the step of {step_nm[worst]:g} nm is more than half the width of the peak at "
            f"{peak_nm[worst]:g} nm (about {fwhm_nm[worst]:.0f} nm): colour bands may err by some percent",
        )
    return "resolved", ()


def _subdivide(nodes: FloatArray) -> FloatArray:
    """The nodes and even divisions of every step into parts of at most 1 nm."""
    steps = np.diff(nodes)
    parts = np.maximum(np.ceil(steps - 1e-9), 1).astype(np.int64)
    start = np.repeat(nodes[:-1], parts)
    within = np.arange(parts.sum()) - np.repeat(np.cumsum(parts) - parts, parts)
    return np.append(start + within * np.repeat(steps / parts, parts), nodes[-1])


def _step_text(steps: FloatArray) -> str:
    low, high = float(np.min(steps)), float(np.max(steps))
    return f"{high:g} nm" if high - low <= 1e-6 * high else f"{low:g} to {high:g} nm"


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}{'' if number == 1 else 's'}"
