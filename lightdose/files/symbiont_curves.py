"""What symbionts use of each wavelength: nine published curves and their default, and our pigment models."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lightdose.model.record import FloatArray, read_only
from lightdose.model.spectrum import MEAN_CURVE, NAMED_CURVES, PIGMENT_MODELS, SpectralTable
from lightdose.quantities import PPFD_BAND

_MODELLED_START_NM, _MODELLED_END_NM = 380.0, 750.0
_TISSUE_ABSORPTANCE_AT_675_NM = 0.8  # intact tissue, grey bound: our choice


def published_curves(path: Path) -> dict[str, SpectralTable]:
    """The mean of the curves with a named study, then every published curve, 0.5 nm, 400-700 nm.

    Each was divided by its own maximum before it was fitted; where a fit exceeds 1 between the points that it
    was made at, it is held to 1.
    """
    nodes = np.arange(PPFD_BAND.low_nm, PPFD_BAND.high_nm + 0.5, 0.5)  # centres of cells are nodes
    curves = {name: np.minimum(value, 1.0) for name, value in _sums(path, nodes).items()}
    mean = np.mean([curves[name] for name in NAMED_CURVES], axis=0)
    return {name: _table(name, nodes, value) for name, value in {MEAN_CURVE: mean, **curves}.items()}


def pigment_models(path: Path) -> dict[str, SpectralTable]:
    """The curves z1, z2, z4 from pigments, and the grey bound of intact tissue after z1, 1 nm, 380-750 nm.

    Each is divided by its own maximum; tissue is 1 - exp(-k z1) with 80 % absorbed at 675 nm.
    """
    nodes = np.arange(_MODELLED_START_NM, _MODELLED_END_NM + 1)
    curves = {name: value / value.max() for name, value in _sums(path, nodes).items()}
    z1, tissue = curves["z1"], PIGMENT_MODELS[-1]
    depth = -np.log(1 - _TISSUE_ABSORPTANCE_AT_675_NM) / z1[int(675 - _MODELLED_START_NM)]
    absorptance = 1 - np.exp(-depth * z1)
    curves[tissue] = absorptance / absorptance.max()
    return {name: _table(name, nodes, value) for name, value in curves.items()}


def _table(name: str, nodes: FloatArray, values: FloatArray) -> SpectralTable:
    return SpectralTable(name, read_only(nodes), read_only(values))


def _sums(path: Path, nodes: FloatArray) -> dict[str, FloatArray]:
    """Each curve of a table of Gaussians, by name: its first column names it, its last three are numbers."""
    parts: dict[str, list[list[str]]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        if not line.startswith(("#", "curve,")):
            name, *cells = line.split(",")
            parts.setdefault(name, []).append(cells[-3:])
    curves = {}
    for name, rows in parts.items():
        height, centre_nm, fwhm_nm = np.array(rows, dtype=np.float64).T
        offset = (nodes[:, None] - centre_nm) / fwhm_nm
        curves[name] = np.exp(-4 * np.log(2) * offset**2) @ height
    return curves
