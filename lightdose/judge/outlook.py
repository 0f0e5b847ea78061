"""How the corals of a tank would stand under another programme or at other places, by the draws of today.

A changed programme changes the hours of each channel and nothing else that is drawn, so what is found here is
what a fresh run on the changed files finds.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import field
from functools import cached_property

import numpy as np

from lightdose.judge.states import leading_states, marks_table, penalties_table, state_shares
from lightdose.judge.uncertain_inputs import draw_inputs, uncertain_inputs
from lightdose.model.advice import Stand
from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.results import Analysis, DliVerdict, Verdict
from lightdose.physics.changed_day import Plateau, plateau_of
from lightdose.physics.day_curve import programme_hours
from lightdose.physics.dimming_error import tent_hours
from lightdose.quantities import MOL_PER_UMOL_S_H


@dataclass(frozen=True, eq=False)
class Kept:
    """Keeps what is drawn of some receivers: receiver -> PPFD at full output, (n_channel, n_draw)."""

    wanted: Collection[int]
    response: dict[int, FloatArray] = field(default_factory=dict)

    def see(self, receiver: int, _: FloatArray, response: FloatArray) -> None:
        """Keep what was drawn of a receiver, if it is wanted."""
        if receiver in self.wanted:
            self.response[receiver] = response.copy()


@dataclass(frozen=True, eq=False)
class Outcome:
    """How each judged coral would stand.

    Attributes
    ----------
    penalty : array, shape (n_coral,)
    states : verdict of each
    dli : mean of the draws, shape (n_coral,). [mol m-2 d-1]
    """

    penalty: FloatArray
    states: tuple[DliVerdict, ...]
    dli: FloatArray

    @property
    def stand(self) -> Stand:
        """Counts and penalty."""
        within, undecided = (self.states.count(s) for s in ("within", "undecided"))
        return Stand(within, undecided, float(self.penalty.sum()))


@dataclass(frozen=True, eq=False)
class Outlook:
    """The judged corals of a tank, and draws of the light of every channel at each.

    Attributes
    ----------
    verdicts : of the judged corals, in the order of the setup
    marks : array, shape (n_coral, 4). [mol m-2 d-1]
    penalties : array, shape (n_coral, 5); what each state counts
    response : array, shape (n_coral, n_channel, n_draw); PPFD at full output. [umol m-2 s-1]
    dimming : array, shape (n_channel, n_draw); error of the output at mid level, 0-1
    """

    analysis: Analysis
    verdicts: tuple[Verdict, ...]
    marks: FloatArray
    penalties: FloatArray
    response: FloatArray
    dimming: FloatArray
    plateau: Plateau | None

    @classmethod
    def of(cls, analysis: Analysis, response: Mapping[int, FloatArray]) -> Outlook:
        """From an analysis with its uncertainty, and what was drawn of the receivers of its corals."""
        known = analysis.uncertainty
        assert known is not None
        verdicts = tuple(v for v in analysis.verdicts if v.band_dli is not None)
        fixtures = analysis.setup.lit_fixtures
        drawn = draw_inputs(uncertain_inputs(analysis.setup), known.draws, known.seed).dimming
        of_fixture = [i for i, f in enumerate(fixtures) for _ in f.type.channels]
        light = np.array([response[v.receiver] for v in verdicts])
        return cls(
            analysis,
            verdicts,
            marks_table(verdicts),
            penalties_table(verdicts),
            light,
            np.ascontiguousarray(drawn[:, of_fixture].T),
            plateau_of(fixtures, light.mean(axis=(0, 2))),
        )

    @property
    def fixtures(self) -> tuple[Fixture, ...]:
        """The lit fixtures of today."""
        return self.analysis.setup.lit_fixtures

    def channels_of(self, fixture: int) -> slice:
        """The channels of one fixture."""
        counts = [len(f.type.channels) for f in self.fixtures]
        return slice(sum(counts[:fixture]), sum(counts[: fixture + 1]))

    @cached_property
    def hours_today(self) -> FloatArray:
        """Drawn hours at full output today, shape (n_channel, n_draw). [h]"""
        return self.hours(self.fixtures)

    @cached_property
    def doses_today(self) -> FloatArray:
        """Drawn doses today, shape (n_coral, n_draw). [mol m-2 d-1]"""
        return read_only(self.doses(self.response, self.hours_today))

    @cached_property
    def today(self) -> Outcome:
        """How the corals stand today."""
        return self.judged(self.doses_today)

    def hours(self, fixtures: Sequence[Fixture]) -> FloatArray:
        """Drawn hours at full output under a programme, shape (n_channel, n_draw). [h]"""
        stated, tent = programme_hours(fixtures), tent_hours(fixtures)
        return np.asarray(np.maximum(stated[:, None] + tent[:, None] * self.dimming, 0.0))

    def under(self, fixtures: Sequence[Fixture]) -> Outcome:
        """How the corals stand under a programme where they are."""
        return self.judged(self.doses(self.response, self.hours(fixtures)))

    def doses(self, response: FloatArray, hours: FloatArray) -> FloatArray:
        """Drawn doses, shape (n_place, n_draw). [mol m-2 d-1]"""
        return np.asarray(MOL_PER_UMOL_S_H * np.einsum("rck,ck->rk", response, hours))

    def judged(self, dli: FloatArray) -> Outcome:
        """How the corals stand with drawn doses, shape (n_coral, n_draw). [mol m-2 d-1]"""
        shares = state_shares(dli, self.marks)
        return Outcome((shares * self.penalties).sum(axis=1), tuple(leading_states(shares)), dli.mean(axis=1))
