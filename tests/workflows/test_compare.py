"""Two setups beside one another, from analyses of a small invented tank."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from judge.made_tank import made_fixture, made_tank

from lightdose.analysis import analyse
from lightdose.answers.compare import lead_sentences
from lightdose.model.fixture import ChannelProgramme, DimmingCurve, Fixture, Programme
from lightdose.model.setup import Setup, Site
from lightdose.model.solids import Solid
from lightdose.physics.emission import TRISTIMULUS_WEIGHTINGS
from lightdose.workflows.compare import compare, looks_and_gets


def straight(fixture: Fixture) -> Fixture:
    """The fixture with linear dimming."""
    channels = tuple(replace(c, dimming=DimmingCurve.linear()) for c in fixture.type.channels)
    return replace(fixture, type=replace(fixture.type, channels=channels))


TANK = made_tank()
STRAIGHT = replace(TANK, fixtures=tuple(map(straight, TANK.fixtures)))


def reprogrammed(setup: Setup, change) -> Setup:
    """Every channel's times and levels put through ``change``."""
    fixtures = []
    for fixture in setup.fixtures:
        channels = {
            name: ChannelProgramme(*change(name, p.time_h, p.level))
            for name, p in fixture.programme.channels.items()
        }
        fixtures.append(replace(fixture, programme=Programme(channels)))
    return replace(setup, fixtures=tuple(fixtures))


def every_change(comparison):
    return (*comparison.sites, *comparison.corals)


@pytest.mark.identity
def test_setup_beside_itself_differs_in_exactly_nothing():
    """compare(A, A): every ratio is 1, every logarithm 0, every interval of a ratio (1, 1)."""
    found = compare(TANK, TANK)
    assert found.differences == ()
    assert len(every_change(found)) == 7
    for change in every_change(found):
        assert change.dli_ratio == 1
        assert change.interval_ratio == (1, 1)
        assert change.before == change.after
        split = change.split
        assert (split.ln_dli, split.ln_total, split.ln_intensity, split.ln_time) == (0, 0, 0, 0)
        assert (split.ln_colour.default, split.ln_colour.low, split.ln_colour.high) == (0, 0, 0)


@pytest.mark.identity
def test_equal_places_of_two_light_fields_are_equal():
    """A site more makes another light field; the others keep their light to the last bit or two."""
    other = replace(TANK, sites=(*TANK.sites, Site("spare", 0.5, 0.3, 0.2)))
    found = compare(TANK, other, certainty=False)
    for change in every_change(found):
        assert change.split.ln_total == pytest.approx(0, abs=1e-14)
        assert change.split.ln_colour.high == pytest.approx(0, abs=1e-14)
        assert change.interval_ratio is None
    assert found.only[1].sites == ("spare",)


@pytest.mark.identity
def test_half_the_levels_is_all_intensity():
    """Linear dimming at half the levels: half as bright, as long, of the same colour, and nothing else."""
    half = reprogrammed(STRAIGHT, lambda _, t, level: (t, 0.5 * level))
    for change in every_change(compare(STRAIGHT, half, certainty=False)):
        split = change.split
        assert change.dli_ratio == pytest.approx(0.5, rel=1e-12)
        assert split.ln_intensity == pytest.approx(math.log(0.5), abs=1e-12)
        assert split.ln_time == pytest.approx(0, abs=1e-12)
        assert (split.ln_colour.low, split.ln_colour.high) == pytest.approx((0, 0), abs=1e-12)


@pytest.mark.identity
def test_day_of_half_the_length_is_all_time():
    """Times drawn together by half: as bright, half as long."""
    short = reprogrammed(TANK, lambda _, t, level: (12 + 0.5 * (t - 12), level))
    for change in every_change(compare(TANK, short, certainty=False)):
        split = change.split
        assert split.ln_intensity == pytest.approx(0, abs=1e-12)
        assert split.ln_time == pytest.approx(math.log(0.5), abs=1e-12)
        assert split.ln_colour.default == pytest.approx(0, abs=1e-12)


@pytest.mark.identity
@given(
    blue=st.floats(0.01, 1.0),
    violet=st.floats(0.0, 1.0),
    stretch=st.floats(0.2, 1.1),
    height=st.floats(0.05, 1),
)
@settings(max_examples=8)
def test_parts_add_to_the_whole_in_any_change(blue, violet, stretch, height):
    """ln_dli = ln_intensity + ln_time; ln_total = ln_dli + ln_colour = ln of usable doses, to 1e-12."""

    def change(name, time_h, level):
        return 12 + stretch * (time_h - 12), (blue if name == "blue" else violet) * level / level.max()

    other = reprogrammed(TANK, change)
    other = replace(other, fixtures=tuple(replace(f, height_m=height) for f in other.fixtures))
    for found in every_change(compare(TANK, other, certainty=False)):
        split, a, b = found.split, found.before, found.after
        assert split.ln_dli == pytest.approx(math.log(b.dli_mol_m2_d / a.dli_mol_m2_d), abs=1e-12)
        assert split.ln_intensity + split.ln_time == pytest.approx(split.ln_dli, abs=1e-12)
        assert split.ln_dli + split.ln_colour.default == pytest.approx(split.ln_total, abs=1e-12)
        usable = b.usable_dose_mol_m2_d.default / a.usable_dose_mol_m2_d.default
        assert split.ln_total == pytest.approx(math.log(usable), abs=1e-12)
        assert split.ln_colour.low <= split.ln_colour.default <= split.ln_colour.high


@pytest.mark.identity
def test_dark_side_has_no_logarithms():
    """A dose of 0 leaves every logarithm open; the ratio is 0 into the dark and unknown out of it."""
    dark = replace(TANK, fixtures=tuple(replace(f, enabled=False) for f in TANK.fixtures))
    for change in every_change(compare(TANK, dark)):
        assert change.dli_ratio == 0
        assert change.split.ln_dli is change.split.ln_total is change.split.ln_colour is None
        assert change.after.looks is None
    for change in every_change(compare(dark, TANK)):
        assert change.dli_ratio is None
        assert change.split.ln_intensity is change.split.ln_time is None
    assert compare(dark, dark).sites[0].dli_ratio is None


@pytest.mark.identity
def test_what_is_common_cancels_in_the_ratio():
    """Half the levels, dimming known exactly: the ratio is 0.5 in every draw, the doses are not."""
    known = replace(STRAIGHT, uncertainty={"dimming_points": 0.0})
    half = reprogrammed(known, lambda _, t, level: (t, 0.5 * level))
    for change in every_change(compare(known, half)):
        assert change.interval_ratio == pytest.approx((0.5, 0.5), rel=1e-5)
        low, high = change.before.interval_dli
        assert high / low > 1.3


@pytest.mark.identity
def test_ratio_of_two_light_fields_has_no_interval():
    """Where fixtures hang otherwise, the comparison says that ratios have no range of their own."""
    higher = replace(TANK, fixtures=tuple(replace(f, height_m=0.3) for f in TANK.fixtures))
    found = compare(TANK, higher)
    assert all(c.interval_ratio is None for c in every_change(found))
    assert len(found.notes) == 1
    assert found.before.uncertainty is not None
    assert compare(TANK, TANK).notes == ()


@pytest.mark.identity
def test_figures_are_those_of_dose():
    """Both sides hold what `dose` says of each setup alone, interval and verdict included."""
    other = replace(TANK, fixtures=(made_fixture("left", 0.15, 0.9), TANK.fixtures[1]))
    found = compare(TANK, other)
    for setup, side in ((TANK, "before"), (other, "after")):
        alone = analyse(setup)
        for site in found.sites:
            light = getattr(site, side)
            assert light.dli_mol_m2_d == float(alone.dose.dli[site.a])
            assert light.interval_dli == tuple(alone.uncertainty.dli[site.a])
        for coral, verdict in zip(found.corals, alone.verdicts, strict=True):
            assert getattr(coral, f"verdict_{side}") == verdict


@pytest.mark.identity
def test_names_in_one_setup_only_are_told():
    """Sites and corals are matched by name; a coral that moved is compared where it stands."""
    sites = (*TANK.sites[1:], Site("cave", 0.1, 0.1, 0.2))
    corals = (replace(TANK.corals[1], site="cave"), *TANK.corals[2:])
    found = compare(TANK, replace(TANK, sites=sites, corals=corals), certainty=False)
    assert [s.site for s in found.sites] == ["shelf", "sand"]
    assert (found.only[0].sites, found.only[1].sites) == (("ridge",), ("cave",))
    assert (found.only[0].corals, found.only[1].corals) == (("staghorn",), ())
    moved = found.corals[0]
    assert (moved.verdict_before.site, moved.verdict_after.site) == ("shelf", "cave")
    assert found.differences == ("coral placed otherwise: hammer",)


@pytest.mark.identity
def test_looks_are_the_same_by_spectra_as_by_weightings():
    """An analysis without tristimulus weightings gives the same looks, through the spectra at each place."""
    plain, ready = analyse(TANK, certainty=False), analyse(TANK, certainty=False, also=TRISTIMULUS_WEIGHTINGS)
    for one, other in zip(looks_and_gets(plain), looks_and_gets(ready), strict=True):
        assert one.lux == pytest.approx(other.lux, rel=1e-12)
        xy = other.appearance.chromaticity_xy
        assert one.appearance.chromaticity_xy == pytest.approx(xy, abs=1e-8)
        assert other.lux == pytest.approx(float(ready.dose.lux_at_peak[other.receiver]), rel=1e-12)


@pytest.mark.identity
def test_bluer_light_looks_dimmer_at_equal_photons():
    """Lux per photon falls as red goes: what the page tells is true of these fixtures."""
    blue_only = reprogrammed(TANK, lambda name, t, level: (t, level * (name == "blue")))
    with_red = replace(
        blue_only,
        fixtures=tuple(
            replace(
                f,
                programme=Programme(
                    dict(f.programme.channels)
                    | {"red": ChannelProgramme(np.array([9.0, 12.0, 18.0]), np.array([0.0, 1.0, 0.0]))}
                ),
            )
            for f in blue_only.fixtures
        ),
    )
    for site in compare(blue_only, with_red, certainty=False).sites:
        assert site.before.looks.lux_share < site.after.looks.lux_share < 1


@pytest.mark.identity
def test_share_of_shade_is_all_of_the_change_where_only_rock_differs() -> None:
    """With the same lamps it is the whole ratio; with lamps at half it is the ratio over one half."""
    bare = made_tank()
    ledge = Solid("ledge", "box", 0.3, 0.14, 0.2, (0.3, 0.2, 0.02))
    rocky = replace(bare, rocks=(ledge,))
    dim = replace(rocky, fixtures=tuple(replace(f, output_scale=0.5) for f in bare.fixtures))
    for other, light in ((rocky, 1.0), (dim, 0.5)):
        comparison = compare(bare, other, certainty=False)
        shades = []
        for change in (*comparison.sites, *comparison.corals):
            assert change.split.ln_shade is not None
            assert change.split.ln_dli == pytest.approx(change.split.ln_shade + math.log(light), abs=1e-9)
            shades.append(change.split.ln_shade)
        assert min(shades) < math.log(0.5)
        words = "\n".join(lead_sentences(comparison))
        assert "the shade of rock and colonies makes" in words
    same = compare(rocky, dim, certainty=False)
    assert [change.split.ln_shade for change in same.sites] == [None] * len(same.sites)
