"""Light on the skins of rock as `map --skins` shows it, and slices that rock fills in part."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lightdose import light_field, read_setup
from lightdose.answers.map import map_answer
from lightdose.model.places import LightMap, Plane, SkinView
from lightdose.model.setup import Setup
from lightdose.model.solids import Solid
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.slices import seen_skins, slice_cells
from lightdose.present.figures.map import map_drawings
from lightdose.workflows import plans
from lightdose.workflows.plans import light_map, skin_views

CUBE = Path(__file__).parents[2] / "examples" / "crowded-cube" / "setup.toml"
BLOCK = Solid("block", "box", 0.25, 0.25, 0.37, (0.20, 0.10, 0.20))
BALL = Solid("ball", "ellipsoid", 0.10, 0.10, 0.41, (0.10, 0.10, 0.10))
POST = Solid("post", "cylinder", 0.40, 0.40, 0.37, (0.08, 0.08, 0.20))


@pytest.fixture(scope="module")
def tank() -> Setup:
    """The cube without corals, with three rocks and one fixture."""
    setup = read_setup(CUBE)
    return replace(setup, fixtures=setup.fixtures[:1], corals=(), sites=(), rocks=(BLOCK, BALL, POST))


@pytest.fixture(scope="module")
def views(tank: Setup) -> tuple[SkinView, ...]:
    """From above and from the front."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plans, "SKIN_CELLS", 25)
        return skin_views(tank)


@pytest.mark.identity
def test_skins_are_seen_where_they_are_and_face_out(tank: Setup) -> None:
    """Points lie on the skins, normals lead out of them and towards the eye."""
    solids = tank.rocks
    for plane, eye in ((Plane("depth", 0.2), (0, 0, 1)), (Plane("from_front", 0.2), (0, -1, 0))):
        points, normals, on = seen_skins(solids, slice_cells(tank.tank, plane, 0.01))
        assert set(on.tolist()) == {-1, 0, 1, 2}
        for n in np.flatnonzero(on >= 0):
            x, y, depth = points[n]
            out = 1e-4 * normals[n] * (1, 1, -1)
            assert solids[on[n]].inside_m(x, y, depth) == pytest.approx(0, abs=1e-6)
            assert solids[on[n]].inside_m(x + out[0], y + out[1], depth + out[2]) < 0
            assert normals[n] @ eye > 0
            assert np.linalg.norm(normals[n]) == pytest.approx(1)


@pytest.mark.identity
def test_light_on_a_flat_top_is_that_of_a_flat_place_there(tank: Setup, views: tuple[SkinView, ...]) -> None:
    """The dose on the block's top is what light_field gives at the same points."""
    above = views[0]
    some = np.argwhere(above.on == 0)[::5]
    centres = above.cells.centres_m[some[:, 0], some[:, 1]]
    points = np.column_stack((centres[:, :2], np.full(len(some), 0.27)))
    flat = daily_light_integral(light_field(tank, points)[:, :, 0], day_curve(tank.lit_fixtures))
    shown = above.dli[some[:, 0], some[:, 1]]
    assert shown == pytest.approx(flat, rel=0.03)
    assert np.isnan(above.dli[above.on < 0]).all()


@pytest.mark.identity
def test_rock_is_no_dim_water(tank: Setup) -> None:
    """Cells in the block have no light, count in no share, and all else has the light of the same place."""
    plane = Plane("depth", 0.40)
    light = light_map(tank, [plane], cell_m=0.02)
    (part,) = light.slices
    inside = np.array([[BLOCK.inside_m(*c) > 1e-3 for c in row] for row in part.cells.centres_m])
    assert inside.any()
    assert not part.water[inside].any()
    cells = part.cells.centres_m[part.water]
    flat = daily_light_integral(light_field(tank, cells[::50])[:, :, 0], day_curve(tank.lit_fixtures))
    assert part.dli[part.water][::50] == pytest.approx(flat, rel=0.02, abs=0.01)


@pytest.mark.identity
def test_a_cell_cut_by_a_skin_is_the_mean_of_its_water(tank: Setup) -> None:
    """With samples, a cell half in rock has the light of its other half."""
    light = light_map(tank, [Plane("depth", 0.40)], cell_m=0.06, samples=3)
    one = light_map(tank, [Plane("depth", 0.40)], cell_m=0.06)
    assert light.slices[0].water.sum() >= one.slices[0].water.sum()
    assert np.nanmin(light.slices[0].dli) > 0


@pytest.mark.identity
def test_map_tells_skins_and_draws_them(tank: Setup, views: tuple[SkinView, ...]) -> None:
    """A row a rock in words, a grid a view in JSON, and one figure of both views with axes in cm."""
    light: LightMap = replace(light_map(tank, [Plane("depth", 0.40)], cell_m=0.02), skins=views)
    answer = map_answer(light, "dli", "cm")
    body = answer.body()
    assert [view["seen_from"] for view in body["skins"]] == ["above", "front"]
    assert {"block", "ball", "post"} <= {name for row in body["skins"][0]["on"] for name in row}
    drawing = map_drawings(light, "dli", "cm")[-1]
    assert drawing.name == "map-skins"
    labels = [axes.get_label() for axes in drawing.figure.axes]
    assert "skins depth" in labels
    assert "skins from_front" in labels
