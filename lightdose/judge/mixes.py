"""Mixes of library channels as reef lamps are run: blue, violet and cyan with no, a little or much white."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import product
from typing import Final

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.estimate import WhiteAmount
from lightdose.model.readings import ReadsQuantity, SensorShape
from lightdose.model.record import dataclass
from lightdose.model.spectrum import ReferenceTables
from lightdose.physics.meters import shape_response, target_row

VIOLETS: Final = ("violet-405", "violet-420", "violet-430")
ROYAL_BLUES: Final = ("blue-445", "blue-450", "blue-455")
BLUES: Final = ("blue-465", "blue-470", "blue-480")
CYANS: Final = ("cyan-495", "cyan-505")
WHITES: Final = ("white-led-b1", "white-led-b2", "white-led-b3", "white-led-b4", "white-led-b5")
EMITTERS: Final = (*VIOLETS, *ROYAL_BLUES, *BLUES, *CYANS, *WHITES)

MOST_VIOLET, MOST_CYAN = 0.4, 0.2
SHARE_STEP = 0.2
WHITE_SHARES: Final[Mapping[WhiteAmount, tuple[float, ...]]] = {
    "none": (0.0,),
    "little": (0.03, 0.1, 0.2),
    "much": (0.2, 0.45, 0.7),
}
"""Shares of PPFD, our choice: violet to 0.4 and cyan to 0.2 of the coloured part, blue the rest; no white 0,
a little 0.03-0.2, much 0.2-0.7."""

UMOL_SHAPES: Final[tuple[SensorShape, ...]] = ("ideal", "short-red", "soft", "tilted", "silicon")
LUX_POWERS: Final = (0.9, 1.0, 1.1)
"""A lux sensor is taken as V(lambda) to these powers: our choice; f1' is 5 % at the ends."""


@dataclass(frozen=True, eq=False)
class Mixes:
    """Shares of PPFD of every mix, shape (n_mix, n_emitter) in the order of ``EMITTERS``."""

    share: FloatArray

    def of(self, per_ppfd: FloatArray) -> FloatArray:
        """A quantity of each mix per PPFD, from that of each emitter per PPFD; shape (n_mix,)."""
        return np.asarray(self.share @ per_ppfd)


def mixes(white: WhiteAmount) -> Mixes:
    """Every mix that is tried for an amount of white.

    Parameters
    ----------
    white : "none", "little" or "much"

    Returns
    -------
    Mixes
        Each with one violet, one royal blue, one blue, one cyan and one white of the library.

    Source
    ------
    Shares and their limits: our choice; common practice of reef lamps, no published source.
    """
    steps = round(1 / SHARE_STEP)
    violets, cyans = range(round(MOST_VIOLET * steps) + 1), range(round(MOST_CYAN * steps) + 1)
    coloured = np.array(
        [
            (violet, royal, steps - violet - cyan - royal, cyan)
            for violet, cyan in product(violets, cyans)
            for royal in range(steps - violet - cyan + 1)
        ],
        dtype=np.float64,
    )
    coloured /= steps
    place = {name: n for n, name in enumerate(EMITTERS)}
    whites = WHITES if white != "none" else WHITES[:1]
    rows = []
    for *colours, white_name in product(VIOLETS, ROYAL_BLUES, BLUES, CYANS, whites):
        for share in WHITE_SHARES[white]:
            block = np.zeros((len(coloured), len(EMITTERS)))
            block[:, [place[name] for name in colours]] = coloured * (1 - share)
            block[:, place[white_name]] = share
            rows.append(block)
    return Mixes(np.concatenate(rows))


def emitter_rows(photons: Mapping[str, FloatArray], tables: ReferenceTables) -> FloatArray:
    """Photons of each emitter of the mixes for one micromole of PPFD, shape (n_emitter, 500).

    Parameters
    ----------
    photons : array of shape (500,) by name of the emitter, any scale
    tables : ReferenceTables

    Returns
    -------
    array, shape (n_emitter, 500)

    Source
    ------
    Definition of PPFD: 400-700 nm, CIE S 017:2020.
    """
    rows = np.array([photons[name] for name in EMITTERS])
    return np.asarray(rows / (rows @ target_row("umol", tables))[:, None])


def lux_per_ppfd(rows: FloatArray, tables: ReferenceTables) -> FloatArray:
    """Lux for one micromole of PPFD of each emitter.

    Parameters
    ----------
    rows : array, shape (n_emitter, 500)
    tables : for V(lambda)

    Returns
    -------
    array, shape (n_emitter,). [lx per umol m-2 s-1]

    Source
    ------
    CIE 018:2019.
    """
    return np.asarray(rows @ target_row("lux", tables))


def shown_per_ppfd(
    rows: FloatArray, unit: ReadsQuantity, sources: Mapping[str, FloatArray], tables: ReferenceTables
) -> FloatArray:
    """What generic sensors show for one micromole of PPFD of each emitter.

    Parameters
    ----------
    rows : array, shape (n_emitter, 500)
    unit : "umol": the generic shapes, each calibrated on each source; "lux": powers of V(lambda), on each
    sources : photons of lamps that meters are calibrated on, shape (500,) each
    tables : for V(lambda)

    Returns
    -------
    array, shape (n_sensor, n_emitter)

    Source
    ------
    Generic shapes: ours, of no instrument. Calibration: CIE S 017:2020, 17-25-115.
    """
    target = target_row(unit, tables)
    if unit == "umol":
        responses = [shape_response(shape, "umol", tables) for shape in UMOL_SHAPES]
    else:
        floor = np.maximum(tables.photopic, 1e-12)
        responses = [target * floor ** (power - 1) for power in LUX_POWERS]
    return np.array([rows @ r * (s @ target) / (s @ r) for r in responses for s in sources.values()])
