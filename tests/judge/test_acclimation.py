"""Steps from one light to another: every limit kept and used, the last step exactly the new light."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import lightdose
from lightdose.errors import SetupError
from lightdose.judge.acclimation import AcclimationRequest, acclimate, mismatch_curve, step_scales
from lightdose.judge.earlier_light import rise_at_most
from lightdose.model.fixture import Channel, ChannelProgramme, Flux, Programme
from lightdose.model.plans import Acclimation
from lightdose.model.results import Analysis, Basis, Verdict
from lightdose.model.setup import WALL_NAMES, Coral, CoralGroup, Setup, Wall
from lightdose.physics.controller import can_be_set

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


@pytest.fixture(scope="module")
def setup() -> Setup:
    """The shipped example, with curved dimming; its walls and floor are dark here, which is quick."""
    setup = lightdose.read_setup(EXAMPLE)
    tank = replace(setup.tank, walls={n: Wall("dark") for n in WALL_NAMES}, floor_reflectance=0.0)
    return replace(setup, tank=tank)


@pytest.fixture(scope="module")
def today(setup: Setup) -> Analysis:
    return analysed(setup)


def analysed(setup: Setup) -> Analysis:
    return lightdose.analyse(setup, certainty=False)


def with_levels(setup: Setup, factor: float) -> Setup:
    """All levels times a factor, cut at full."""
    fixtures = tuple(
        replace(
            f,
            programme=Programme(
                {
                    n: ChannelProgramme(p.time_h, np.minimum(factor * p.level, 1.0))
                    for n, p in f.programme.channels.items()
                }
            ),
        )
        for f in setup.fixtures
    )
    return replace(setup, fixtures=fixtures)


def with_corals(setup: Setup, *corals: Coral) -> Setup:
    return replace(setup, corals=corals)


def codes(way: Acclimation) -> set[str]:
    return {c.code for c in way.cautions}


@pytest.mark.identity
@pytest.mark.parametrize(("rise", "days"), [(0.10, 7), (0.25, 7), (0.10, 3)])
def test_every_step_keeps_the_weekly_rise_and_the_worst_coral_uses_it(
    setup: Setup, today: Analysis, rise: float, days: int
) -> None:
    """D_k <= D_(k-1) (1 + g)^(days / 7) at every coral and site, nearly equal at one until the last step."""
    other = analysed(with_levels(setup, 1.9))
    way = acclimate(today, other, AcclimationRequest(rise, days))
    growth = (1 + rise) ** (days / 7)
    earlier = {v.coral: v.dli_mol_m2_d for v in today.verdicts}
    sites = {s.name: float(d) for s, d in zip(setup.sites, today.dose.dli, strict=False)}
    for step in way.steps:
        factors = [c.dli_mol_m2_d / earlier[c.coral] for c in step.corals]
        factors += [d / sites[s] for s, d in step.site_dli.items()]
        assert max(factors) <= growth * (1 + 1e-9)
        if step is not way.steps[-1]:
            assert max(factors) >= growth**0.9  # rounding to tenths costs less than a tenth of the rise
        earlier = {c.coral: c.dli_mol_m2_d for c in step.corals}
        sites = dict(step.site_dli)
    assert [s.day for s in way.steps] == [days * k for k in range(len(way.steps))]
    assert way.weeks == way.steps[-1].day / 7


@pytest.mark.identity
def test_last_step_is_the_new_programme_itself(setup: Setup, today: Analysis) -> None:
    """Scale exactly 1, the same programmes, the same doses as `dose` gives for the other setup."""
    other = analysed(with_levels(setup, 1.5))
    last = acclimate(today, other, AcclimationRequest()).steps[-1]
    assert last.scale == 1
    for fixture in other.setup.lit_fixtures:
        for name, programme in last.programmes[fixture.name].channels.items():
            assert programme is fixture.programme.channels[name]
    doses = {s.name: float(d) for s, d in zip(other.setup.sites, other.dose.dli, strict=False)}
    assert {k: doses[k] for k in last.site_dli} == pytest.approx(dict(last.site_dli), rel=1e-12)


@pytest.mark.identity
def test_doses_of_steps_are_the_scale_times_the_new_light(setup: Setup, today: Analysis) -> None:
    """Through curved dimming the written programmes give the scaled dose, but for tenths of a percent."""
    other = analysed(with_levels(setup, 1.8))
    way = acclimate(today, other, AcclimationRequest())
    assert len(way.steps) > 2
    full = way.steps[-1].site_dli
    for step in way.steps:
        assert dict(step.site_dli) == pytest.approx({k: step.scale * v for k, v in full.items()}, rel=5e-3)
        fixtures = tuple(replace(f, programme=step.programmes[f.name]) for f in setup.fixtures)
        again = analysed(replace(other.setup, fixtures=fixtures))
        doses = {s.name: float(d) for s, d in zip(setup.sites, again.dose.dli, strict=False)}
        assert {k: doses[k] for k in step.site_dli} == pytest.approx(dict(step.site_dli), rel=1e-12)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("dimmed", "brighter", "rise"), [(1.0, 1.37, 0.10), (0.02, 2.0, 0.10), (1.0, 1.02, 0.004)]
)
def test_rounded_steps_keep_the_rise_and_still_get_there(
    setup: Setup, dimmed: float, brighter: float, rise: float
) -> None:
    """Also levels so low, or a rise so small, that a tenth of a percent is more than a step may be."""
    now = analysed(with_levels(setup, dimmed))
    other = analysed(with_levels(setup, dimmed * brighter))
    way = acclimate(now, other, AcclimationRequest(rise))
    ideal = math.ceil(math.log(brighter) / math.log1p(rise) - 1e-9)
    assert ideal <= len(way.steps) <= 1.25 * ideal + 1
    earlier = {v.coral: v.dli_mol_m2_d for v in now.verdicts}
    for step in way.steps:
        assert max(c.dli_mol_m2_d / earlier[c.coral] for c in step.corals) <= (1 + rise) * (1 + 1e-9)
        earlier = {c.coral: c.dli_mol_m2_d for c in step.corals}
    targets = {c.name: c.target for c in way.corals}
    assert earlier == pytest.approx(targets, rel=0.01)


@pytest.mark.identity
def test_steps_can_be_set_the_last_too(setup: Setup, today: Analysis) -> None:
    """A programme of thousandths of a percent is reached in tenths; no dose of it differs by a hundredth."""
    other = analysed(with_levels(setup, 1.3337))
    assert not any(can_be_set(f.programme) for f in other.setup.lit_fixtures)
    way = acclimate(today, other, AcclimationRequest())
    assert all(can_be_set(p) for step in way.steps for p in step.programmes.values())
    doses = {s.name: float(d) for s, d in zip(setup.sites, other.dose.dli, strict=False)}
    assert {k: doses[k] for k in way.steps[-1].site_dli} == pytest.approx(
        dict(way.steps[-1].site_dli), rel=0.01
    )


@pytest.mark.identity
@pytest.mark.parametrize(("rise", "steps"), [(0.10, 8), (0.25, 4)])
def test_doubling_takes_the_published_number_of_steps(rise: float, steps: int) -> None:
    """7.27 weeks at 10 % and 3.1 at 25 % are 8 and 4 weekly steps."""
    # ln 2 / ln(1 + g), rounded up: the first step rises too.
    scales = step_scales(0.5 * (1 + rise), AcclimationRequest(rise))
    assert len(scales) == steps
    assert scales[-1] == 1


@pytest.mark.identity
def test_less_light_everywhere_is_one_step(setup: Setup, today: Analysis) -> None:
    """Downward there is nothing to wait for; a cut of more than half is a caution."""
    way = acclimate(today, analysed(with_levels(setup, 0.8)), AcclimationRequest())
    assert [s.scale for s in way.steps] == [1.0]
    assert "deep_cut" not in codes(way)
    deep = acclimate(today, analysed(with_levels(setup, 0.3)), AcclimationRequest())
    assert {"deep_cut", "below_floor"} <= codes(deep)


@pytest.mark.identity
def test_stated_previous_dose_limits_the_first_step(setup: Setup, today: Analysis) -> None:
    """A newcomer from 2.0 starts at 2.2 at most, in one setup that serves as FROM and TO."""
    way = acclimate(today, today, AcclimationRequest(previous={"plating cap": 2.0}))
    first = {c.coral: c for c in way.steps[0].corals}["plating cap"]
    assert 2.2 * 0.995 <= first.dli_mol_m2_d <= 2.2 * (1 + 1e-9)
    assert first.d_over_a.default == pytest.approx(first.dli_mol_m2_d / 2, rel=1e-9)
    assert "dimmed_for_another" in codes(way)


@pytest.mark.identity
@pytest.mark.parametrize("stated", ["unknown", None])
def test_newcomer_of_unknown_light_starts_in_the_low_third_of_its_band(
    setup: Setup, today: Analysis, stated: str | None
) -> None:
    """At most low + (high - low) / 3 on day 0, whether "unknown" is written or nothing is."""
    new = Coral("new plate", "low-light-plating", "A2", previous=stated)  # type: ignore[arg-type]
    other = analysed(with_corals(with_levels(setup, 1.4), *setup.corals, new))
    way = acclimate(today, other, AcclimationRequest())
    low, high = setup.groups["low-light-plating"].band_dli or (0.0, 0.0)
    coral = way.corals[-1]
    assert (coral.newcomer, coral.origin) == (True, "unknown")
    first = way.steps[0].corals[-1].dli_mol_m2_d
    most = low + (high - low) / 3
    assert 0.995 * most <= first <= most * (1 + 1e-9)
    assert "unknown_previous" in codes(way)


@pytest.mark.identity
def test_corals_are_matched_by_name_wherever_they_stand(setup: Setup, today: Analysis) -> None:
    """A coral that moves compares its old light with its new; one that is gone is named."""
    moved = tuple(replace(c, site="B1") if c.name == "mushroom rock" else c for c in setup.corals[1:])
    other = analysed(with_corals(setup, *moved))
    way = acclimate(today, other, AcclimationRequest())
    mushroom = next(c for c in way.corals if c.name == "mushroom rock")
    before = next(v for v in today.verdicts if v.coral == "mushroom rock")
    assert mushroom.before == before.dli_mol_m2_d
    assert mushroom.origin == "today"
    assert way.missing == (setup.corals[0].name,)
    assert way.steps[0].scale < 1


@pytest.mark.identity
def test_group_that_light_does_not_judge_limits_nothing(setup: Setup, today: Analysis) -> None:
    """A coral without symbionts is named and never holds the others back."""
    sun = Coral("sun coral", "non-photosynthetic", "A2")
    other = analysed(with_corals(setup, *setup.corals, sun))
    way = acclimate(today, other, AcclimationRequest())
    assert way.not_judged == ("sun coral",)
    assert [s.scale for s in way.steps] == [1.0]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("rise", "code"), [(0.10, "rise"), (0.101, "rise_fast"), (0.25, "rise_fast"), (0.26, "rise_too_fast")]
)
def test_rise_is_cautioned_by_its_size(setup: Setup, today: Analysis, rise: float, code: str) -> None:
    """Fine to 10 %, caution to 25 %, warning above; always as common practice without a published rule."""
    way = acclimate(today, today, AcclimationRequest(rise))
    found = next(c for c in way.cautions if c.code.startswith("rise"))
    assert found.code == code
    assert found.source == "common practice, no published rule per week"


@pytest.mark.identity
def test_half_more_in_one_day_is_a_warning(setup: Setup, today: Analysis) -> None:
    """Steps far apart may rise by half at once: that is warned of, 49 % is not."""
    other = analysed(with_levels(setup, 1.9))
    assert "one_day_rise" in codes(acclimate(today, other, AcclimationRequest(0.25, 14)))
    assert "one_day_rise" not in codes(acclimate(today, other, AcclimationRequest(0.49, 7)))


@pytest.mark.identity
def test_mismatch_curve_starts_at_one_and_jumps_with_the_dose() -> None:
    """Before the first step nothing lags; a step multiplies D/A by the step in D."""
    curve = mismatch_curve("x", 2.0, np.array([0.0, 7.0]), np.array([2.2, 2.42]))
    assert curve.d_over_a[:, 0].tolist() == [1, 1, 1]
    assert curve.d_over_a[:, 1] == pytest.approx(1.1)
    at = np.flatnonzero(curve.day == 7)
    assert curve.d_over_a[:, at[1]] / curve.d_over_a[:, at[0]] == pytest.approx(1.1)
    assert np.all(np.diff(curve.d_over_a[:, 5], n=1) >= 0)


@pytest.mark.pinned
def test_bad_input_is_named_with_its_cure(setup: Setup, today: Analysis) -> None:
    """No corals, unknown names, dark places and endless ways: sentences, all of one run together."""
    dark = analysed(with_levels(setup, 0.0))
    bare = analysed(with_corals(setup))
    cases: list[tuple[Analysis, Analysis, AcclimationRequest, str]] = [
        (today, bare, AcclimationRequest(), "there is no coral"),
        (today, dark, AcclimationRequest(), "gets no light at 'ridge' after the change"),
        (dark, today, AcclimationRequest(), "gets no light today"),
        (today, today, AcclimationRequest(previous={"plating cup": 3.0}), "did you mean 'plating cap'?"),
        (today, today, AcclimationRequest(previous={"plating cap": 0.0}), "above 0 mol/m2/day"),
        (today, today, AcclimationRequest(previous={"plating cap": 1e-9}), "at most 200 steps"),
    ]
    for before, after, asked, words in cases:
        with pytest.raises(SetupError) as trouble:
            acclimate(before, after, asked)
        assert words in str(trouble.value)
    with pytest.raises(SetupError, match="9 problems"):
        acclimate(dark, today, AcclimationRequest())


@pytest.mark.identity
def test_no_coral_that_light_judges_is_said(setup: Setup, today: Analysis) -> None:
    """Only corals without symbionts: nothing tells how fast."""
    group: CoralGroup = setup.groups["non-photosynthetic"]
    other = analysed(with_corals(setup, Coral("sun coral", group.key, "A2")))
    with pytest.raises(SetupError, match="no coral that light judges"):
        acclimate(today, other, AcclimationRequest())


@pytest.fixture(scope="module")
def unmeasured(setup: Setup) -> tuple[Analysis, Analysis]:
    """The same tank under its lamps, and under others of as much light by their wattage; with certainty."""

    def guessed(channel: Channel) -> Channel:
        return replace(channel, flux=Flux("electrical_w", 12.0, radiant_efficiency=0.4, typical=True))

    fixtures = tuple(
        replace(f, type=replace(f.type, channels=tuple(map(guessed, f.type.channels))))
        for f in setup.fixtures
    )
    return lightdose.analyse(setup), lightdose.analyse(replace(setup, fixtures=fixtures))


@pytest.mark.identity
def test_first_day_on_an_unmeasured_lamp_holds_at_the_upper_end(
    unmeasured: tuple[Analysis, Analysis],
) -> None:
    """Whatever the lamp gives within its 95 %, no coral gets more than today's dose and a week's rise."""
    today, other = unmeasured
    way = acclimate(today, other, AcclimationRequest())
    doses = {v.coral: v.dli_mol_m2_d for v in today.verdicts}
    assert way.start is not None
    for verdict in other.verdicts:
        assert verdict.certainty is not None
        top = way.steps[0].scale * verdict.certainty.interval_dli[1]
        assert top <= 1.1 * doses[verdict.coral] * (1 + 1e-9)
    known = replace(today, basis=Basis("measured", "read"))
    assert acclimate(known, other, AcclimationRequest()).steps[0].scale >= way.steps[0].scale


@pytest.mark.identity
def test_reading_as_calculated_leads_on_as_if_the_lamp_were_measured(
    unmeasured: tuple[Analysis, Analysis],
) -> None:
    """The way after a reading of just what is calculated is the way between measured lights; more is less."""
    way = acclimate(*unmeasured, AcclimationRequest())
    plain = acclimate(
        *(replace(a, basis=Basis("measured", "read")) for a in unmeasured), AcclimationRequest()
    )
    assert plain.start is None
    assert way.start is not None
    then = way.start.as_calculated
    assert (then.times, then.weeks) == (1.0, plain.weeks)
    assert then.scale == pytest.approx(plain.steps[0].scale, rel=1e-9)
    scales = [after.scale for after in way.start.after]
    assert scales == sorted(scales, reverse=True)
    assert scales[-1] == pytest.approx(way.steps[0].scale, rel=0.01)


@pytest.mark.identity
def test_what_is_not_known_of_the_same_lamps_is_common_to_both(setup: Setup) -> None:
    """Another programme of today's lamps needs no care: the rise is known though the dose is not."""
    today, other = lightdose.analyse(setup), lightdose.analyse(with_levels(setup, 1.3))
    way = acclimate(today, other, AcclimationRequest())
    assert way.start is None
    assert {c.rise_at_most for c in way.corals} == {1.0}
    new = acclimate(today, other, AcclimationRequest(previous={"plating cap": 3.0}))
    own = {c.name: c.rise_at_most for c in new.corals}
    cap = next(v for v in other.verdicts if v.coral == "plating cap")
    assert cap.certainty is not None
    assert own.pop("plating cap") == pytest.approx(max(1, cap.certainty.interval_dli[1] / cap.dli_mol_m2_d))
    assert set(own.values()) == {1.0}


@pytest.mark.identity
def test_rise_of_two_unknown_lights_has_its_closed_form(unmeasured: tuple[Analysis, Analysis]) -> None:
    """Ranges of a factor of 1.5 and of 2 about what is calculated: exp of the root of the squares."""
    verdict = unmeasured[1].verdicts[0]
    assert verdict.certainty is not None

    def known(factor: float) -> Verdict:
        ends = verdict.dli_mol_m2_d / factor, verdict.dli_mol_m2_d * factor
        return replace(verdict, certainty=replace(verdict.certainty, interval_dli=ends))

    expected = np.exp(np.hypot(np.log(1.5), np.log(2)))
    assert rise_at_most(known(2), known(1.5)) == pytest.approx(expected)
    assert rise_at_most(known(2)) == pytest.approx(2)
    assert rise_at_most(replace(verdict, certainty=None)) == 1
