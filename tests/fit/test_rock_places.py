"""Free places on rock, and what colonies do to each other where a placement puts them."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from lightdose import read_setup
from lightdose.analysis import analyse
from lightdose.errors import SetupError
from lightdose.fit.rock_places import free_rock_spots
from lightdose.model.places import Grid, PlaceWishes, Spot
from lightdose.model.setup import Coral, Setup
from lightdose.model.solids import Solid
from lightdose.workflows.placing import place

CUBE = Path(__file__).parents[2] / "examples" / "crowded-cube" / "setup.toml"
LEDGE = Solid("ledge", "box", 0.25, 0.30, 0.25, (0.20, 0.10, 0.04))
KNOB = Solid("knob", "ellipsoid", 0.12, 0.15, 0.40, (0.10, 0.10, 0.12))


def tank(*corals: Coral) -> Setup:
    """The cube with a ledge and a knob, one fixture, and some corals on its sites."""
    setup = read_setup(CUBE)
    return replace(setup, fixtures=setup.fixtures[:1], rocks=(LEDGE, KNOB), corals=corals, unplaced=())


@pytest.mark.identity
def test_places_lie_on_skins_and_face_out_of_them() -> None:
    """No place lies deeper in a rock than the skin, a step along its face is water, none is near a coral."""
    taken = Spot("t", 0.25, 0.30, 0.23)
    found = free_rock_spots(tank(), 0.04, [taken])
    assert {rock for rock, _ in found} == {"ledge", "knob"}
    rocks = {rock.name: rock for rock in (LEDGE, KNOB)}
    for rock, spot in found:
        assert abs(rocks[rock].inside_m(spot.x_m, spot.y_m, spot.depth_m)) < 1e-3
        x, y, up = spot.face.normal if spot.face else (0.0, 0.0, 1.0)
        step = 0.01
        out = spot.x_m + step * x, spot.y_m + step * y, spot.depth_m - step * up
        assert all(body.inside_m(*out) < 0 for body in rocks.values())
        assert up > -0.2
        assert math.dist((spot.x_m, spot.y_m, spot.depth_m), (0.25, 0.30, 0.23)) >= 0.02 - 1e-9


@pytest.mark.identity
def test_spacing_is_about_what_was_asked_for() -> None:
    """On the top of the ledge of 20 x 10 cm a grid of 5 cm has 4 x 2 places."""
    top = [s for rock, s in free_rock_spots(tank(), 0.05, []) if rock == "ledge" and s.face is None]
    assert len(top) == 8
    assert {round(s.depth_m, 4) for s in top} == {0.23}


@pytest.mark.identity
def test_without_rock_the_cure_is_said() -> None:
    """One message that names the table to add."""
    with pytest.raises(SetupError, match="no rock to place corals on"):
        free_rock_spots(replace(tank(), rocks=()), 0.04, [])


@pytest.mark.identity
def test_each_free_place_has_the_lights_that_dose_gives_a_coral_there() -> None:
    """A coral written at the place, with its face, gets the same flat and face doses."""
    setup = tank(Coral("one", "zoanthid", "Gipfel vorn"))
    placed = place(setup, PlaceWishes(corals=("one",), grid=Grid(0.05, on_rock=True)))
    skin = next(s for s in placed.skins if s.spot.face is not None)
    spot = skin.spot
    site = replace(
        setup.sites[0], name="there", x_m=spot.x_m, y_m=spot.y_m, depth_m=spot.depth_m, face=spot.face
    )
    there = replace(setup, sites=(*setup.sites, site), corals=(Coral("one", "zoanthid", "there"),))
    found = analyse(there, certainty=False)
    (verdict,) = found.verdicts
    assert verdict.dli_mol_m2_d == pytest.approx(skin.dli_face, rel=0.03, abs=0.02)
    assert found.dose.dli[len(setup.sites)] == pytest.approx(skin.dli_flat, rel=0.03, abs=0.02)
    assert skin.dli_all_sides > max(skin.dli_flat, skin.dli_face)


@pytest.mark.identity
def test_a_coral_takes_the_face_of_its_new_place() -> None:
    """`place --on rock` judges it on the skin, as dose does on the written setup."""
    setup = tank(Coral("one", "mushroom", "Gipfel vorn"))
    placed = place(setup, PlaceWishes(corals=("one",), grid=Grid(0.05, on_rock=True)))
    (coral,) = placed.corals
    assert coral.after is not None
    again = analyse(placed.setup, certainty=False).verdicts[0]
    assert again.dli_mol_m2_d == pytest.approx(coral.after.dli_mol_m2_d, rel=1e-6)
    new = next(s for s in placed.setup.sites if s.name == placed.setup.corals[0].site)
    assert (new.face, new.on) == (coral.after.spot.face, "rock")


@pytest.mark.identity
def test_no_colony_is_put_where_it_darkens_another() -> None:
    """Of two places of equal light the table does not take the one over the other coral."""
    setup = tank()
    base = replace(setup.sites[0], on=None)
    places = {
        "low": (0.25, 0.25, 0.30),
        "over": (0.25, 0.25, 0.20),
        "beside": (0.25, 0.10, 0.20),
        "dim": (0.02, 0.48, 0.46),
    }
    sites = tuple(replace(base, name=n, x_m=x, y_m=y, depth_m=d) for n, (x, y, d) in places.items())
    body = {"form": "table", "diameter_m": 0.16, "height_m": 0.02}
    table = Coral("table", "sps-plating", "dim", band_dli=(4.0, 25.0), **body)
    low = Coral("low one", "zoanthid", "low", pinned=True, band_dli=(2.0, 9.0))
    setup = replace(setup, sites=sites, corals=(table, low), rocks=())
    alone = place(setup, PlaceWishes(corals=("table",)))
    spot = alone.plan.spots["table"]
    assert spot is not None
    assert spot.name == "beside"
    dose = next(v for v in alone.after.verdicts if v.coral == "low one")
    assert dose.dli_state == "within"
