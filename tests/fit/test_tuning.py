"""`tune` on the example: the keeper's bounds hold in the programme as written."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lightdose.analysis import analyse, fixture_emission
from lightdose.answers.tune import notes
from lightdose.errors import InfeasibleError, SetupError
from lightdose.files.library import reference_tables
from lightdose.files.setup_file import read_setup
from lightdose.fit.tuning import plan_programme
from lightdose.fit.tuning_record import look_xy
from lightdose.fit.tuning_schedule import today_shape
from lightdose.model.plans import Controller, TuneWishes, Tuning
from lightdose.model.results import Analysis
from lightdose.model.setup import Setup
from lightdose.physics.day_curve import full_output_hours
from lightdose.workflows.plans import tune

SETUP = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


@pytest.fixture(scope="module")
def setup() -> Setup:
    return read_setup(SETUP)


def tuned(setup: Setup, **wishes: object) -> Tuning:
    return tune(setup, TuneWishes(**wishes), certainty=False)  # type: ignore[arg-type]


def tops(analysis: Analysis) -> np.ndarray:
    """Highest outputs of the day."""
    curve = analysis.day_curve
    return np.maximum(curve.output_start.max(axis=0), curve.output_end.max(axis=0))


@pytest.mark.identity
def test_every_coral_that_can_be_served_is_in_its_band_as_written(setup: Setup) -> None:
    """Two of nine are outside today; the written programme has all inside, near what was computed."""
    found = tuned(setup)
    assert found.out_of_band == ()
    assert sum(c.before.dli_state != "within" for c in found.corals) == 2
    assert all(c.after.peak_state != "high" for c in found.corals)
    assert found.largest_loss[0] < 0.005
    assert {c.coral: c.binds for c in found.corals if c.binds} == {
        "staghorn frag": "low",
        "meat coral": "high",
    }


@pytest.mark.identity
def test_programme_is_its_own_least_change(setup: Setup) -> None:
    """Tuning what was tuned changes nothing: the same programmes come back."""
    once = tuned(setup).after.setup
    again = tuned(once)
    assert again.unchanged
    assert again.after.dose.dli == pytest.approx(again.before.dose.dli)


@pytest.mark.identity
@pytest.mark.parametrize("mix", ["all", "each"])
def test_kept_mix_keeps_the_ratios_of_outputs(setup: Setup, mix: str) -> None:
    """One factor for all channels, or one a fixture, to the tenth of a percent that levels are written in."""
    found = tuned(setup, mix=mix)
    before, after = tops(found.before), tops(found.after)
    names = [k.fixture for k in found.before.light_field.channels]
    for fixture in ("left", "right"):
        own = np.array([n == fixture for n in names])
        factor = after[own].sum() / before[own].sum()
        # Half a tenth of a percent of level, on a curve no steeper than 1.1, and the factor's own share.
        assert np.abs(after[own] - factor * before[own]).max() < 0.0015
    factors = [
        after[np.array(names) == f].sum() / before[np.array(names) == f].sum() for f in ("left", "right")
    ]
    assert (abs(factors[0] - factors[1]) < 0.005) == (mix == "all")


@pytest.mark.identity
def test_locked_mix_names_the_pair_and_what_would_solve_it(setup: Setup) -> None:
    """One factor cannot lift the staghorn and dim the meat coral; shade on the latter can be checked."""
    found = tuned(setup, mix="all")
    assert found.conflict is not None
    assert (found.conflict.low, found.conflict.high) == ("staghorn frag", "meat coral")
    assert found.conflict.factor is not None
    before = {c.coral: c.before.dli_mol_m2_d for c in found.corals}
    # Closed form: (8 / D_low) / (3.5 / D_high), but for today's course, which is no trapezoid.
    exact = (8 / before["staghorn frag"]) / (3.5 / before["meat coral"])
    assert found.conflict.factor == pytest.approx(exact, rel=0.01)
    shade = next(r for r in found.conflict.remedies if r.kind == "shade")
    factor = shade.open_sky_factor
    corals = tuple(replace(c, open_sky=factor) if c.name == shade.coral else c for c in setup.corals)
    assert tuned(replace(setup, corals=corals), mix="all").out_of_band == ()


@pytest.mark.identity
def test_blue_only_keeps_channels_by_spectrum_and_lists_them(setup: Setup) -> None:
    """White and red stay off; the note names kept and cut ones."""
    found = tuned(setup, blue_only=True, off=("left/violet",), caps=(("right/royal blue", 0.3),))
    after = {f"{c.fixture}/{c.channel}": c.level_after for c in found.channels}
    assert [after[f"{f}/{c}"] for f in ("left", "right") for c in ("cool white", "deep red")] == [0.0] * 4
    assert after["left/violet"] == 0.0
    assert 0 < after["right/royal blue"] <= 0.3
    (note,) = notes(found)
    assert "kept violet (100 %)" in note
    assert "cut cool white" in note


@pytest.mark.identity
def test_bounds_on_colour_change_and_look_hold_as_written(setup: Setup) -> None:
    """Blue share at every coral, change of every dose, and x, y of the emission, to rounding."""
    found = tuned(setup, least_blue=0.945, most_change=0.15, look_tolerance=0.002)
    blue = found.after.dose.weighted[:, found.after.light_field.weightings.index("blue")]
    at = [c.after.receiver for c in found.corals]
    assert (blue / found.after.dose.dli)[at].min() > 0.9445
    assert all(abs(c.rise or 0) < 0.152 for c in found.corals)
    emission, matching = fixture_emission(setup), reference_tables().colour_matching
    now, was = (
        look_xy(a, emission, matching, full_output_hours(a.day_curve)) for a in (found.after, found.before)
    )
    assert now is not None
    assert was is not None
    assert np.abs(np.array(now) - was).max() < 0.0025


@pytest.mark.identity
def test_kept_shapes_scale_each_channels_own_course(setup: Setup) -> None:
    """Every channel's output is today's times a number, at all times."""
    found = tuned(setup, keep_shapes=True)
    assert found.day_after is None
    assert found.out_of_band == ()
    time = np.linspace(0.1, 23.9, 200)
    from lightdose.physics.day_curve import output_at

    before, after = (output_at(a.day_curve, time) / tops(a) for a in (found.before, found.after))
    # A tenth of a percent of level counts most in the channels that run at 1 %.
    strong = tops(found.before) > 0.05
    assert np.abs(before - after)[:, strong].max() < 0.02


@pytest.mark.identity
def test_hours_ramps_and_controller_hold_as_written(setup: Setup) -> None:
    """Whole percents every 15 minutes, four points a channel, a plateau of 7 h between ramps of 2 h."""
    controller = Controller(4, 15, 0.0, True)
    found = tuned(setup, plateau_h=(7.0, 7.0), ramp_up_h=2.0, ramp_down_h=2.0, controller=controller)
    assert found.out_of_band == ()
    for fixture in found.after.setup.lit_fixtures:
        for programme in fixture.programme.channels.values():
            assert programme.time_h.size <= 4
            assert np.mod(programme.time_h * 4, 1) == pytest.approx(0)
            assert np.round(100 * programme.level) == pytest.approx(100 * programme.level)
    shape = today_shape(found.after.day_curve, found.after.light_field.of("ppfd").mean(axis=0))
    assert shape is not None
    # Without points at the knots of the dimming curve the ramps bend, and 95 % of the peak is met earlier.
    assert shape.plateau_h == pytest.approx(7.0, abs=0.1)


@pytest.mark.identity
def test_margin_and_energy_are_better_at_what_they_prefer(setup: Setup) -> None:
    """The least energy is below that of the least change; the largest margin is above that of both."""

    def margin(found: Tuning) -> float:
        bands = [(c.after.dli_mol_m2_d, *c.after.band_dli) for c in found.corals if c.after.band_dli]
        return min(min(d - low, high - d) / (high - low) for d, low, high in bands)

    change, room, thrift = (tuned(setup, prefer=p) for p in ("change", "margin", "energy"))
    energy = [found.energy_kwh_d[1] for found in (change, room, thrift)]
    assert all(e is not None for e in energy)
    assert energy[2] == min(energy)  # type: ignore[type-var]
    assert margin(room) > max(margin(change), margin(thrift)) + 0.01
    assert all(found.out_of_band == () for found in (change, room, thrift))


def refusal(setup: Setup, **wishes: object) -> str:
    before = analyse(setup, certainty=False)
    with pytest.raises(InfeasibleError) as refused:
        plan_programme(
            before,
            TuneWishes(**wishes),  # type: ignore[arg-type]
            fixture_emission(setup),
            reference_tables().colour_matching,
        )
    return str(refused.value)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        ({"mix": "all", "caps": (("left/blue", 0.2),)}, "the mix cannot be kept"),
        ({"off": ("blau",)}, 'there is no channel "blau"'),
        (
            {
                "caps": (("royal blue", 0.0), ("violet", 0.0)),
                "off": ("blue", "cyan", "cool white", "deep red"),
            },
            "no channel",
        ),
        ({"plateau_h": (8.0, 5.0)}, "leaves no length"),
        (
            {"caps": (("royal blue", 0.05), ("blue", 0.05), ("violet", 0.05)), "most_change": 0.01},
            "--most-change, --cap",
        ),
        ({"off": ("royal blue", "blue", "violet"), "least_blue": 0.9}, "only darkness"),
    ],
)
def test_bounds_that_leave_nothing_are_named(setup: Setup, wishes: dict[str, object], words: str) -> None:
    """An empty range after the keeper's own bounds is a sentence that names them."""
    assert words in refusal(setup, **wishes)


@pytest.mark.identity
def test_setups_without_a_band_to_aim_at_are_refused(setup: Setup) -> None:
    """No corals; a coral in the dark; no fixture that is on; energy without watts."""
    assert "no corals" in refusal(replace(setup, corals=()))
    dark = tuple(replace(s, open_sky=0.0) if s.name == "shelf" else s for s in setup.sites)
    assert '"plating cap" at "shelf" gets no light' in refusal(replace(setup, sites=dark))
    off = tuple(replace(f, enabled=False) for f in setup.fixtures)
    assert "no fixture is enabled" in refusal(replace(setup, fixtures=off))
    channels = tuple(replace(c, electrical_w=None) for c in setup.fixtures[0].type.channels)
    types = tuple(replace(f, type=replace(f.type, channels=channels)) for f in setup.fixtures)
    assert "no electrical_w" in refusal(replace(setup, fixtures=types), prefer="energy")


@pytest.mark.identity
def test_controller_out_of_reach_is_refused() -> None:
    """Three points cannot ramp up and down; a step of no minutes is none."""
    with pytest.raises(SetupError, match="3 points"):
        Controller(3)
    with pytest.raises(SetupError, match="0 min"):
        Controller(time_step_min=0)


@pytest.mark.identity
def test_dark_programme_is_lit_from_nothing(setup: Setup) -> None:
    """Where nothing runs today a day of 10:00 to 20:00 is set, and corals are served as far as can be."""
    from lightdose.model.fixture import ChannelProgramme, Programme

    night = ChannelProgramme(np.array([0.0, 24.0]), np.zeros(2))
    dark = tuple(
        replace(f, programme=Programme({c.name: night for c in f.type.channels})) for f in setup.fixtures
    )
    found = tuned(replace(setup, fixtures=dark))
    assert found.day_before is None
    assert found.out_of_band == ()
    assert len(found.sudden) == len(found.corals)
