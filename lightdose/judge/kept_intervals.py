"""How well one place's dose is known under many programmes: its light is drawn once, the days after it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lightdose.judge.drawn_light import COVERED, DRAWS, SEED, draw_doses
from lightdose.judge.uncertain_inputs import draw_inputs, uncertain_inputs
from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray, dataclass, quantiles
from lightdose.model.results import Interval
from lightdose.model.setup import Receiver, Setup
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.dimming_error import tent_hours
from lightdose.physics.light_field import PreparedField
from lightdose.quantities import MOL_PER_UMOL_S_H


@dataclass(frozen=True, eq=False)
class PlaceDraws:
    """Draws of a place, as those of `dose`.

    Attributes
    ----------
    response : array, shape (n_channel, n_draw); PPFD at full output. [umol m-2 s-1]
    dimming : array, shape (n_channel, n_draw); error of the output at mid level, 0-1
    """

    response: npt.NDArray[np.float32]
    dimming: npt.NDArray[np.float32]

    @classmethod
    def at(
        cls, setup: Setup, ready: PreparedField, receivers: Sequence[Receiver]
    ) -> dict[Receiver, PlaceDraws]:
        """Draw the light of places of a lit tank; single precision is a thousand times what is needed.

        Source
        ------
        As ``draw_doses``.
        """
        inputs = uncertain_inputs(setup)
        seen: dict[int, npt.NDArray[np.float32]] = {}

        def keep(receiver: int, _: FloatArray, response: FloatArray) -> None:
            seen[receiver] = response.astype(np.float32)

        draw_doses(inputs, ready, receivers, keep)
        dimming = draw_inputs(inputs, DRAWS, SEED).dimming
        of_channel = [i for i, f in enumerate(setup.lit_fixtures) for _ in f.type.channels]
        shift = dimming.T[of_channel].astype(np.float32)
        return {receiver: cls(seen[i], shift) for i, receiver in enumerate(receivers)}

    def interval_dli(self, hours: tuple[FloatArray, FloatArray]) -> Interval:
        """95 % of the dose of a day; ``hours`` are those of ``drawn_hours``. [mol m-2 d-1]

        Source
        ------
        Monte Carlo propagation of distributions, JCGM 101:2008; the draws are those of `dose`.
        """
        stated, tent = (each.astype(np.float32)[:, None] for each in hours)
        drawn = np.maximum(stated + tent * self.dimming, 0.0)
        doses = MOL_PER_UMOL_S_H * np.einsum("ck,ck->k", self.response, drawn).astype(np.float64)
        low, high = quantiles(doses, COVERED)
        return float(low), float(high)


def drawn_hours(fixtures: Sequence[Fixture]) -> tuple[FloatArray, FloatArray]:
    """Hours at full output of every channel, and what an error of 1 at mid level adds to them. [h]

    Source
    ------
    As ``full_output_hours`` and ``tent_hours``.
    """
    return full_output_hours(day_curve(fixtures)), tent_hours(fixtures)
