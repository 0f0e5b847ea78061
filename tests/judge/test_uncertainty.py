"""Intervals and verdicts: against the whole model drawn by hand, and against closed forms."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest

from lightdose.analysis import analyse, scene_of
from lightdose.answers.verdicts import verdict_words
from lightdose.files.library import reference_tables
from lightdose.judge.drawn_light import draw_doses
from lightdose.judge.uncertain_inputs import DEFAULTS, uncertain_inputs
from lightdose.model.record import FloatArray
from lightdose.model.setup import Coral, Setup, Site
from lightdose.physics.emission import weighting_matrix
from lightdose.physics.light_field import PreparedField, prepare_field

from .full_model import WEIGHTINGS, of_data_sheets, of_typical_values, simulate, small_setup

EVERYTHING_KNOWN = dict.fromkeys(DEFAULTS, 0.0)


def prepared(setup: Setup) -> PreparedField:
    weightings = weighting_matrix(reference_tables(), WEIGHTINGS)
    return prepare_field(scene_of(setup), weightings, for_points=len(setup.receivers))


@dataclass(frozen=True, eq=False)
class Drawn:
    """Intervals (n_receiver, 2), and every draw (n_draw, n_receiver)."""

    dli: FloatArray
    peak: FloatArray
    kept_dli: FloatArray


def drawn(setup: Setup) -> Drawn:
    seen: dict[int, FloatArray] = {}
    inputs = uncertain_inputs(setup)

    def see(receiver: int, doses: FloatArray, response: FloatArray) -> None:
        seen[receiver] = doses.copy()

    dli, peak = draw_doses(inputs, prepared(setup), setup.receivers, see)
    return Drawn(dli, peak, np.column_stack([seen[i] for i in range(len(setup.receivers))]))


@pytest.mark.identity
def test_intervals_cover_draws_of_the_whole_model() -> None:
    """Of 400 seeded draws through the full model, 91-98 % lie in each interval, and few on either side."""
    setup = small_setup(floor=0.0)
    ours = drawn(setup)
    simulated = simulate(setup, 400, np.random.default_rng(5), of_data_sheets)
    for row, interval in enumerate((ours.dli, ours.peak)):
        below = np.mean(simulated[:, row] < interval[:, 0], axis=0)
        above = np.mean(simulated[:, row] > interval[:, 1], axis=0)
        # 2.5 % expected on each side; one standard error of 400 draws is 0.8 %
        assert np.all(below < 0.055)
        assert np.all(above < 0.055)
        assert np.all((below + above > 0.02) & (below + above < 0.09))


@pytest.mark.slow
@pytest.mark.identity
@pytest.mark.parametrize(
    ("kind", "common", "beam_fraction"),
    [
        ({}, of_data_sheets, 0.05),
        ({"assumed": True}, of_data_sheets, 0.20),
        ({"typical": True}, of_typical_values, 0.05),
    ],
)
def test_both_ends_stand_where_the_whole_model_puts_them(
    kind: dict[str, bool], common: Callable[[np.random.Generator], float], beam_fraction: float
) -> None:
    """With the floor: 93-97 % of 3,000 draws covered, each end within 4 % (sampling alone gives 2 %)."""
    setup = small_setup(**kind)
    ours = drawn(setup)
    simulated = simulate(setup, 3000, np.random.default_rng(5), common, beam_fraction)
    ends = np.quantile(simulated, (0.025, 0.975), axis=0)
    for row, interval in enumerate((ours.dli, ours.peak)):
        inside = (simulated[:, row] >= interval[:, 0]) & (simulated[:, row] <= interval[:, 1])
        assert np.all((inside.mean(axis=0) > 0.93) & (inside.mean(axis=0) < 0.97))
        assert pytest.approx(ends[:, row], rel=0.05 if "typical" in kind else 0.04) == interval.T


@pytest.mark.identity
def test_known_inputs_leave_no_interval() -> None:
    """Where everything is known, both ends are the dose itself and the verdict is the state, surely."""
    setup = replace(small_setup(), uncertainty=EVERYTHING_KNOWN)
    analysis = analyse(setup)
    assert analysis.uncertainty is not None
    for values, intervals in (
        (analysis.dose.dli, analysis.uncertainty.dli),
        (analysis.dose.peak_ppfd, analysis.uncertainty.peak_ppfd),
    ):
        assert intervals == pytest.approx(np.repeat(values[:, None], 2, axis=1), rel=1e-12)
    verdict = analysis.verdicts[0]
    assert verdict.certainty is not None
    assert verdict.dli_verdict == verdict.dli_state
    assert verdict.certainty.probability[verdict.dli_state] == 1.0


@pytest.mark.identity
def test_model_error_alone_gives_its_normal_interval() -> None:
    """ln DLI +- 1.96 ln(1 + fraction), within the sampling error of 4,000 draws."""
    setup = replace(small_setup(), uncertainty={**EVERYTHING_KNOWN, "model_fraction": 0.1})
    dose = analyse(replace(setup, uncertainty=EVERYTHING_KNOWN)).dose.dli
    ends = np.log(drawn(setup).dli / dose[:, None])
    assert ends == pytest.approx(np.tile([-1.96, 1.96], (3, 1)) * math.log(1.1), rel=0.09)


@pytest.mark.identity
def test_relative_inputs_combine_in_quadrature() -> None:
    """Independent factors add their squares: sd(ln DLI) of one fixture's common and model errors together."""
    # Source: JCGM 100:2008 (GUM), law of propagation for a product.
    one = replace(small_setup(), fixtures=small_setup().fixtures[:1])
    own = {**EVERYTHING_KNOWN, "flux_common_fraction": 0.06, "model_fraction": 0.08}
    spread = np.log(drawn(replace(one, uncertainty=own)).kept_dli).std(axis=0)
    assert spread == pytest.approx(math.hypot(math.log(1.06), math.log(1.08)), rel=0.03)


@pytest.mark.identity
def test_open_sky_of_a_wholly_open_site_is_known() -> None:
    """Only the shaded site gets an interval from open sky: 0.6 +- 0.05 is 8.3 %."""
    setup = replace(small_setup(), uncertainty={**EVERYTHING_KNOWN, "open_sky": 0.05})
    spread = drawn(setup).kept_dli.std(axis=0) / drawn(setup).kept_dli.mean(axis=0)
    assert spread == pytest.approx([0.0, 0.05 / 0.6, 0.0], abs=0.003)


@pytest.mark.identity
def test_coral_moves_with_its_site() -> None:
    """Position is drawn once a site: a coral's top and its site get the same moves."""
    setup = small_setup()
    tall = replace(
        setup,
        corals=(Coral("tall", "lps-branching", "high", height_m=0.001),),
        uncertainty={**EVERYTHING_KNOWN, "position_cm": 1.0},
    )
    ln = np.log(drawn(tall).kept_dli)
    assert np.corrcoef(ln[:, 0], ln[:, 3])[0, 1] > 0.99
    assert abs(np.corrcoef(ln[:, 0], ln[:, 1])[0, 1]) < 0.05


@pytest.mark.identity
def test_two_runs_give_the_same_bytes() -> None:
    """The draws are seeded."""
    first, second = drawn(small_setup()), drawn(small_setup())
    assert np.array_equal(first.dli, second.dli)
    assert np.array_equal(first.peak, second.peak)


@pytest.mark.identity
def test_many_sites_in_blocks_agree_with_few() -> None:
    """A site's interval does not hang on how many others there are, within the sampling error."""
    setup = small_setup(floor=0.0)
    more = tuple(replace(setup.sites[0], name=f"high {i}") for i in range(150))
    few, many = drawn(setup).dli[0], drawn(replace(setup, sites=(*setup.sites, *more))).dli
    assert many[3:].mean(axis=0) == pytest.approx(few, rel=0.02)
    assert many[3:] == pytest.approx(np.tile(few, (150, 1)), rel=0.06)


@pytest.mark.identity
@pytest.mark.parametrize("edge", [5.2, 6.2, 6.6, 6.8, 7.0, 7.2, 8.0, 9.0])
def test_verdict_is_undecided_only_without_a_state_of_two_thirds(edge: float) -> None:
    """Probabilities add up to 1; from 2/3 on the leading state is the verdict, whatever is calculated."""
    setup = small_setup()
    coral = Coral("made coral", "lps-branching", "high", band_dli=(edge, 30.0))
    verdict = analyse(replace(setup, corals=(coral,))).verdicts[0]
    known = verdict.certainty
    assert known is not None
    assert sum(known.probability.values()) == pytest.approx(1.0, abs=1e-12)
    leading = max(known.probability, key=lambda s: known.probability[s])
    if known.probability[leading] >= 2 / 3:
        assert verdict.dli_verdict == known.verdict == leading
        assert known.reading_at is None
    else:
        assert verdict.dli_verdict == known.verdict == "undecided"
        assert known.reading_at == "high"
        assert known.reading_settles is not None
        assert known.reading_settles > 0.5
        assert verdict_words(verdict) == "undecided: one reading at high would settle it"
    assert verdict.dli_state in ("below", "within")


@pytest.mark.identity
def test_deciding_reading_counts_all_that_is_open() -> None:
    """The record says how many verdicts are open and how many the reading is expected to settle."""
    setup = small_setup()
    median = float(np.median(drawn(setup).kept_dli[:, 0]))
    corals = tuple(
        Coral(f"coral {i}", "lps-branching", "high", band_dli=(median + 0.1 * i, 30.0)) for i in range(3)
    )
    analysis = analyse(replace(setup, corals=corals))
    assert analysis.uncertainty is not None
    deciding = analysis.uncertainty.deciding
    assert deciding is not None
    assert deciding.undecided == sum(v.dli_verdict == "undecided" for v in analysis.verdicts) > 0
    settles = [v.certainty.reading_settles or 0 for v in analysis.verdicts if v.certainty]
    assert deciding.settles == pytest.approx(sum(settles))


@pytest.mark.identity
def test_group_without_symbionts_is_not_judged() -> None:
    """Its probability is all on "not judged", and no reading is asked for."""
    setup = small_setup()
    dark = replace(setup, corals=(Coral("sun coral", "non-photosynthetic", "low"),))
    certainty = analyse(dark).verdicts[0].certainty
    assert certainty is not None
    assert certainty.verdict == "not_judged"
    assert dict(certainty.probability) == {"not_judged": 1.0}


@pytest.mark.identity
def test_dark_tank_and_empty_tank_are_answered() -> None:
    """No fixtures, no light, no sites: intervals of 0 or none, and no trouble."""
    setup = small_setup()
    dark = analyse(replace(setup, fixtures=()))
    assert dark.uncertainty is not None
    assert np.all(dark.uncertainty.dli == 0)
    assert dark.verdicts[0].dli_verdict == "far_below"
    empty = analyse(replace(setup, sites=(), corals=()))
    assert empty.uncertainty is not None
    assert empty.uncertainty.dli.shape == (0, 2)
    above = analyse(replace(setup, sites=(Site("dry", 0.1, 0.1, -0.02),), corals=()))
    assert above.uncertainty is not None
    assert above.uncertainty.dli[0, 0] > 0
