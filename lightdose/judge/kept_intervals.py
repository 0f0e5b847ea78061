"""How well one place's dose is known under many programmes: its light is drawn once, the days after it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.judge.drawn_light import COVERED, DRAWS, SEED, draw_doses, tent_hours
from lightdose.judge.uncertain_inputs import draw_inputs, uncertain_inputs
from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray, dataclass, quantiles
from lightdose.model.results import Interval
from lightdose.model.setup import Receiver, Setup
from lightdose.physics.day_curve import day_curve, full_output_hours
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

    response: FloatArray
    dimming: FloatArray

    @classmethod
    def of(cls, setup: Setup, ready: PreparedField, receiver: Receiver) -> PlaceDraws:
        """Draw the light of one place of a lit tank."""
        inputs = uncertain_inputs(setup)
        seen: list[FloatArray] = []
        draw_doses(inputs, ready, [receiver], lambda _, __, response: seen.append(np.array(response)))
        dimming = draw_inputs(inputs, DRAWS, SEED).dimming
        of_channel = [i for i, f in enumerate(setup.lit_fixtures) for _ in f.type.channels]
        return cls(seen[0], dimming.T[of_channel])

    def interval_dli(self, fixtures: Sequence[Fixture]) -> Interval:
        """95 % of the dose while the fixtures run these programmes. [mol m-2 d-1]

        Source
        ------
        Monte Carlo propagation of distributions, JCGM 101:2008; the draws are those of `dose`.
        """
        stated, tent = full_output_hours(day_curve(fixtures)), tent_hours(fixtures)
        hours = np.maximum(stated[:, None] + tent[:, None] * self.dimming, 0.0)
        doses = MOL_PER_UMOL_S_H * np.einsum("ck,ck->k", self.response, hours)
        low, high = quantiles(doses, COVERED)
        return float(low), float(high)
