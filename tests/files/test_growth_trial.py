"""The published trial of dose and growth, as shipped."""

from __future__ import annotations

import itertools

import pytest
from scipy.stats import fisher_exact

from lightdose.errors import LightdoseError
from lightdose.files.growth_trial import growth_trial
from lightdose.model.trial import GrowthTrial, TrialLight

TRIAL = growth_trial()


@pytest.mark.published
def test_trial_has_its_medians_and_shares() -> None:
    """Median growth in mg/g/day and the share with any loss of tissue, by dose in mol/m2/day."""
    # Source: open data of Matsuda et al., Mcap CD growth: medians over 31 d, shares by day 60; computed from
    # these data apart from this program. Feeding was not controlled.
    found = [(x.dli_mol_m2_d, x.growth_mg_g_d, x.tissue_loss_fraction) for x in TRIAL.lights]
    assert found == [(0.38, 0.034, 0.51), (0.84, 0.119, 0.25), (1.67, 0.371, 0.25), (4.13, 1.07, 0.17)]
    assert (TRIAL.growth_days, TRIAL.tissue_loss_days, TRIAL.corals_each) == (31, 60, (44, 50))
    assert TRIAL.not_controlled == "feeding"


@pytest.mark.published
def test_dimmest_light_lost_more_tissue_than_any_other_whatever_the_counts() -> None:
    """Fisher's exact test on the published shares: 51 % against 25 and 17 % is no chance at 5 %."""
    # Source: shares of Matsuda et al. as above. Corals under each light are known as 44-50 only, so every
    # pair of counts is tried. Raw growth is not shipped: no rank test of the medians.
    dimmest, *others = TRIAL.lights
    for light, here, there in itertools.product(others, range(44, 51), range(44, 51)):
        lost = round(dimmest.tissue_loss_fraction * here), round(light.tissue_loss_fraction * there)
        table = [[lost[0], here - lost[0]], [lost[1], there - lost[1]]]
        assert fisher_exact(table).pvalue < 0.05


@pytest.mark.identity
def test_growth_rises_with_every_step_of_dose() -> None:
    """The medians rise with the dose, and the ratios are those of the ends."""
    growth = [light.growth_mg_g_d for light in TRIAL.lights]
    assert growth == sorted(set(growth))
    assert TRIAL.dose_ratio == pytest.approx(4.13 / 0.38)
    assert TRIAL.growth_ratio == pytest.approx(1.07 / 0.034)


@pytest.mark.identity
@pytest.mark.parametrize("doses", [(1.0,), (1.0, 1.0), (2.0, 1.0), (0.0, 1.0)])
def test_lights_that_do_not_rise_are_refused(doses: tuple[float, ...]) -> None:
    """One light, equal lights, falling lights and darkness make no trial of dose."""
    lights = tuple(TrialLight(dose, 0.1, 0.5) for dose in doses)
    with pytest.raises(LightdoseError, match="doses above 0 that rise"):
        GrowthTrial("a", "cloth", 1, 1, (1, 1), "food", "invented", lights)
