"""Light in tanks with solids: against traced photons, and what must hold exactly."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from physics.reference_scenes import ALL_PHOTONS, NO_TABLES, lamp, one_cell, water_of
from physics.solid_scenes import LIT_SHARE, SolidScene, read_solid_scenes

from lightdose.model.fixture import CosineLobe
from lightdose.model.forms import CoralForm
from lightdose.model.light import Scene
from lightdose.model.setup import Cover, Standing, Tank, Wall
from lightdose.model.solids import Brace, Solid, colony
from lightdose.physics import all_sides, emission
from lightdose.physics.all_sides import around, from_all_sides
from lightdose.physics.bounce import between_patches
from lightdose.physics.emission import source_cells
from lightdose.physics.light_field import PreparedField, prepare_field
from lightdose.physics.shaded_by import shaded_by
from lightdose.physics.skins import skins_of
from lightdose.physics.solid_light import lamps_on_faces
from lightdose.physics.solid_shapes import holds, passed, shapes_of, spans

TANK = Tank(0.6, 0.45, 0.4)
LAMP = lamp("l", CosineLobe(90), 0.25, 0.2, 0.2, (0.1, 0.1))
LEDGE = Solid("ledge", "box", 0.2, 0.25, 0.18, (0.22, 0.16, 0.03), 20.0)
PLACES = np.array([[0.2, 0.25, 0.3], [0.35, 0.2, 0.2], [0.5, 0.4, 0.38], [0.2, 0.25, 0.16], [0.1, 0.1, 0.39]])


def field_of(*solids: Solid, tank: Tank = TANK, braces: tuple[Brace, ...] = (), light: object = LAMP):
    """A lamp of one unit over a tank with solids."""
    standing = Standing(solids, braces) if solids or braces else None
    scene = Scene((light,), one_cell([1.0]), tank, water_of(1.34, 0.1), Cover(), NO_TABLES, standing)
    return prepare_field(scene, ALL_PHOTONS, for_points=len(PLACES))


def flat(field: PreparedField, places: np.ndarray = PLACES) -> np.ndarray:
    """Light on places that look up."""
    return field.at(places)[:, 0, 0]


@pytest.mark.identity
def test_light_of_very_many_places_from_all_sides_is_that_of_each(monkeypatch: pytest.MonkeyPatch) -> None:
    """Off the bare floor from a lattice: within 1.5 % of the brightest place, as 384 directions tell."""
    field = field_of()
    places = np.random.default_rng(2).uniform(0, 1, (1600, 3)) * (0.6, 0.45, 0.4)
    each = from_all_sides(field, places)
    monkeypatch.setattr(all_sides, "LATTICE_FROM", 300)
    monkeypatch.setattr(all_sides, "light_around", counted := Counted(all_sides.light_around))
    many = from_all_sides(field, places)
    assert counted.places < 1100, "fewer than there are places"
    assert many == pytest.approx(each, abs=0.015 * each.max())
    level = np.column_stack((places[:, :2], np.full(1600, 0.2)))
    assert from_all_sides(field, level) == pytest.approx(from_all_sides(field, level[::-1])[::-1], rel=1e-12)


class Counted:
    """A function of a tank and points, and for how many points it was called."""

    def __init__(self, function: Callable[..., object]) -> None:
        self.function, self.places = function, 0

    def __call__(self, lit: object, points: np.ndarray, *rest: object) -> object:
        self.places += len(points)
        return self.function(lit, points, *rest)


@pytest.mark.published
@pytest.mark.parametrize("scene", read_solid_scenes(), ids=lambda scene: scene.name)
def test_squares_agree_with_traced_photons(scene: SolidScene) -> None:
    """Lit: 3 % + 3 se in 95 of 100, 8 % at most; dim: 1 % of the open light or 15 %; scalar twice that."""
    # Source: tests/data/solids_scenes.json, Monte Carlo of 6-12 million photons a scene.
    face, scalar = scene.model()
    open_light = scene.open_light()
    over = []
    for s, found, sides in zip(scene.squares, face, scalar, strict=True):
        lit = s.reference >= LIT_SHARE * open_light
        for model, true, error, times in (
            (found, s.reference, s.error, 1),
            (sides, s.scalar, s.scalar_error, 2),
        ):
            if true is None:
                continue
            allowed = np.where(lit, 0.03 * true + 3 * error, np.maximum(0.01 * open_light, 0.15 * true))
            over += list(np.abs(model - true) / (times * allowed))
            assert np.all(~lit | (np.abs(model - true) <= times * (0.08 * true + 3 * error)))
    assert np.quantile(over, 0.95) <= 1
    assert max(over) <= 1.5


@pytest.mark.identity
def test_a_tank_without_solids_has_the_light_it_had() -> None:
    """No solids, and a pebble that nothing meets, give the same numbers at places that look up."""
    pebble = Solid("pebble", "ellipsoid", 0.597, 0.447, 0.3985, (0.002, 0.002, 0.002))
    bare = flat(field_of())
    assert flat(field_of(pebble)) == pytest.approx(bare, rel=1e-4)


@pytest.mark.identity
def test_a_stone_or_a_floor_that_reflects_as_good_as_nothing_is_black() -> None:
    """5e-324 counts as 0, so that no bounce becomes a number next to the smallest that a computer holds."""
    found = [
        flat(field_of(replace(LEDGE, reflectance=share), tank=replace(TANK, floor_reflectance=share)))
        for share in (0.0, 5e-324)
    ]
    assert np.array_equal(*found)
    skins = skins_of(replace(TANK, floor_reflectance=5e-324), shapes_of((LEDGE,)))
    assert set(skins.reflectance) == {0.0, LEDGE.reflectance}


@pytest.mark.identity
@pytest.mark.parametrize(
    ("turn_deg", "solid"), [(0, LEDGE), (30, LEDGE), (0, replace(LEDGE, shape="ellipsoid"))]
)
def test_a_shadow_ends_as_softly_as_under_a_lamp_in_many_cells(
    turn_deg: float, solid: Solid, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Across edges of a shadow a lamp in few cells gives what 400 cells give, to 2.5 % of the open light."""
    light = lamp("l", CosineLobe(90), 0.25, 0.2, 0.2, (0.3, 0.06), rotation_deg=turn_deg)
    assert source_cells(light).x_m.size < 20
    across = np.linspace(0.02, 0.58, 57)
    places = [np.column_stack((across, np.full(57, y), np.full(57, 0.3))) for y in (0.12, 0.25, 0.38)]
    points = np.concatenate(places)
    few = flat(field_of(solid, light=light), points)
    with monkeypatch.context() as finer:
        finer.setattr(emission, "LARGEST_CELL_M", 0.006)
        fine = replace(light, name="fine")  # what was lit before is kept by its fixtures
        assert source_cells(fine).x_m.size > 400
        many = flat(field_of(solid, light=fine), points)
    open_light = flat(field_of(light=light), points)
    assert np.min(many / open_light) < 0.2
    assert np.max(np.abs(few - many) / open_light) < 0.025


@pytest.mark.identity
def test_two_half_boxes_are_one() -> None:
    """A box cut in two through its middle shades and sends back as the whole."""
    whole = Solid("box", "box", 0.2, 0.25, 0.18, (0.22, 0.16, 0.04))
    halves = [replace(whole, x_m=0.2 + side * 0.055, size_m=(0.11, 0.16, 0.04)) for side in (-1, 1)]
    assert flat(field_of(*halves)) == pytest.approx(flat(field_of(whole)), rel=0.01, abs=0.002)


@pytest.mark.identity
@pytest.mark.parametrize("axis", [0, 1])
def test_a_mirrored_tank_has_mirrored_light(axis: int) -> None:
    """Lamp, solids and places mirrored in x or y: the same light, but for the steps of a shadow's edge."""
    span = (TANK.length_m, TANK.width_m)[axis]
    name = ("x_m", "y_m")[axis]
    there = replace(LAMP, **{name: span - getattr(LAMP, name)})
    ledge = replace(LEDGE, **{name: span - getattr(LEDGE, name)}, turn_deg=-LEDGE.turn_deg)
    places = PLACES.copy()
    places[:, axis] = span - places[:, axis]
    here, mirrored = field_of(LEDGE), field_of(ledge, light=there)
    assert flat(mirrored, places) == pytest.approx(flat(here), rel=0.03)
    normals = np.tile((0.6, 0.48, 0.64), (len(PLACES), 1))
    other = normals * np.where(np.arange(3) == axis, -1, 1)
    one, two = around(here, PLACES, normals), around(mirrored, places, other)
    assert two == pytest.approx(one, rel=0.03)


@pytest.mark.identity
def test_a_black_plate_over_everything_leaves_nothing() -> None:
    """Under a plate from wall to wall that sends nothing back there is no light, straight or bounced."""
    plate = Solid("plate", "box", 0.3, 0.225, 0.1, (0.7, 0.5, 0.02), reflectance=0.0)
    under = np.array([[0.2, 0.25, 0.3], [0.5, 0.1, 0.39]])
    found = field_of(plate)
    assert np.all(flat(found, under) == 0)
    assert np.all(around(found, under, np.tile((0.0, 0.0, 1.0), (2, 1))) == 0)


@pytest.mark.identity
def test_mean_over_directions_is_a_quarter_of_the_light_from_all_sides() -> None:
    """Faces turned evenly over the sphere get a quarter of what a sphere gets, lamps and bounce together."""
    count = 400
    level = 1 - 2 * (np.arange(count) + 0.5) / count
    turn = np.arange(count) * np.pi * (3 - np.sqrt(5))
    wide = np.sqrt(1 - level**2)
    normals = np.column_stack((wide * np.cos(turn), wide * np.sin(turn), level))
    for place in PLACES[[0, 1]]:
        face, scalar = around(field_of(LEDGE), np.tile(place, (count, 1)), normals)[..., 0, 0]
        assert face.mean() == pytest.approx(scalar[0] / 4, rel=5e-3)


@pytest.mark.identity
def test_a_face_that_looks_up_is_flat() -> None:
    """The normal (0, 0, 1) gives the light of a place without one."""
    field = field_of(LEDGE)
    upward = np.tile((0.0, 0.0, 1.0), (len(PLACES), 1))
    assert field.at(PLACES, upward)[:, 0, 0] == pytest.approx(flat(field), rel=1e-12)


@pytest.mark.identity
def test_patches_exchange_light_both_ways_alike() -> None:
    """Area times what one patch gets of another is the same both ways: floor against the ledge's skin."""
    skins = skins_of(TANK, shapes_of((LEDGE,)))
    count = len(skins.area_m2)
    seen = between_patches(skins, 1.34, count)
    part = np.zeros((count, count))
    np.add.at(
        part, (np.repeat(np.arange(count), seen.patch.shape[1]), seen.patch.ravel()), seen.share.ravel()
    )
    flow = skins.area_m2[:, None] * part / seen.patch.shape[1]
    floor = slice(0, skins.floor_count)
    skin = slice(skins.floor_count, count)
    assert flow[floor, skin].sum() == pytest.approx(flow[skin, floor].sum(), rel=0.02)
    left = skins.centre[:, 0] < 0.25
    assert flow[left][:, ~left].sum() == pytest.approx(flow[~left][:, left].sum(), rel=0.02)


@pytest.mark.identity
def test_all_light_ends_on_floor_solids_and_walls() -> None:
    """Between dark walls in clear water, what enters falls on floor and skins or walls: sum to 1 %."""
    tank = replace(TANK, walls={n: Wall("reflectance", 1.0) for n in TANK.walls}, glass_thickness_m=0.0)
    light = lamp("l", CosineLobe(60), 0.3, 0.22, 0.2)
    scene = Scene(
        (light,), one_cell([1.0]), tank, water_of(1.34, 0.0), Cover(), NO_TABLES, Standing((LEDGE,))
    )
    field = prepare_field(scene, ALL_PHOTONS, for_points=1)
    skins = field.lit.bounce.patches.skins  # type: ignore[union-attr]
    points = skins.centre * (1.0, 1.0, -1.0)
    fallen = lamps_on_faces(field.lit, points, skins.normal, skins.shapes)[0][:, 0, 0] @ skins.area_m2
    x, y = (np.arange(300) + 0.5) / 300 * 0.6, (np.arange(300) + 0.5) / 300 * 0.45
    top = np.stack([a.ravel() for a in np.meshgrid(x, y)] + [np.full(90_000, 1e-6)], axis=1)
    entered = flat(field.clear, top).mean() * 0.6 * 0.45
    bounced = field.clear.bounced(top)[:, 0, 0].mean() * 0.6 * 0.45
    assert fallen == pytest.approx(entered - bounced, rel=0.01)


@pytest.mark.identity
def test_a_brace_takes_the_light_of_its_strip() -> None:
    """Over all of the opening it lets its share through; beside every ray it changes nothing."""
    whole = Brace("lid", (-0.1, 0.225), (0.7, 0.225), 1.0, 0.85)
    aside = Brace("strip", (0.0, -0.3), (0.6, -0.3), 0.1, 0.0)
    bare = flat(field_of())
    assert flat(field_of(braces=(whole,))) == pytest.approx(0.85 * bare, rel=1e-9)
    assert flat(field_of(braces=(aside,))) == pytest.approx(bare, rel=1e-12)


@pytest.mark.identity
def test_who_shades_a_place_is_named_with_its_share() -> None:
    """A plate takes all, a pebble far off is not named, and what one solid takes is what it leaves out."""
    plate = Solid("plate", "box", 0.3, 0.225, 0.1, (0.7, 0.5, 0.02))
    pebble = Solid("pebble", "ellipsoid", 0.58, 0.44, 0.39, (0.01, 0.01, 0.01))
    counted = np.ones(1)
    assert shaded_by(field_of(plate, pebble), PLACES[0], counted) == {"plate": 1.0}
    field = field_of(LEDGE)
    (share,) = shaded_by(field, PLACES[0], counted).values()
    by_rays = flat(field)[0] - field.bounced(PLACES)[0, 0, 0]
    open_light = flat(field.clear)[0] - field.clear.bounced(PLACES)[0, 0, 0]
    assert share == pytest.approx(1 - by_rays / open_light, abs=1e-9)


@pytest.mark.identity
def test_a_branching_colony_dims_by_the_way_in_it() -> None:
    """Straight down through half its diameter, the square root of what passes a whole diameter."""
    body = Solid("c", "ellipsoid", 0.0, 0.0, 0.2, (0.1, 0.1, 0.1), passes=0.4, through_m=0.1, coral="c")
    shapes = shapes_of((replace(body, base_depth_m=0.2),))
    start, way = np.array([[0.0], [0.0], [-0.3]]), np.array([[0.0], [0.0], [1.0]])
    assert passed(shapes, start, way, np.array([0.3]))[0] == pytest.approx(0.4**0.5, rel=1e-9)
    assert passed(shapes, np.array([[0.0], [0.0], [-0.17]]), way, np.array([0.17]))[0] == 1


@pytest.mark.identity
@pytest.mark.identity
@pytest.mark.parametrize("form", ["dome", "table", "mat"])
def test_a_colony_is_out_of_the_way_where_it_stands(form: CoralForm) -> None:
    """Straight up from its foot and 1 cm round about nothing of it is met; 4 cm beside, under it, it is."""
    body = colony("c", form, "soft", (0.3, 0.2, 0.3), 0.12, 0.05, passes=0.0)
    assert body is not None
    steps = 0.01 * np.array([(0, 0, 0), (1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, 0, -1), (0, 0, 1), (4, 0, -1)])
    start = (np.array((0.3, 0.2, -0.3)) + steps).T
    up = np.repeat([[0.0], [0.0], [1.0]], len(steps), axis=1)
    found = passed(shapes_of((body,)), start, up, np.full(len(steps), 0.25))
    assert found.tolist() == [1.0] * 6 + [0.0]


@pytest.mark.identity
@pytest.mark.parametrize("shape", ["box", "ellipsoid", "cylinder"])
def test_spans_agree_with_points_inside(shape: str) -> None:
    """Along random lines, points between entry and exit lie inside a turned solid, others outside."""
    rng = np.random.default_rng(5)
    shapes = shapes_of((Solid("s", shape, 0.1, 0.2, 0.3, (0.2, 0.1, 0.3), 35.0),))
    start = rng.uniform(-0.1, 0.4, (3, 400)) - np.array([[0.0], [0.0], [0.45]])
    way = rng.normal(size=(3, 400))
    way /= np.sqrt((way**2).sum(axis=0))
    enter, leave = spans(shapes, np.zeros(400, dtype=int), start, way)
    hit = leave > enter + 1e-3
    assert 20 < hit.sum() < 390
    start, way, enter, leave = start[:, hit], way[:, hit], enter[hit], leave[hit]
    for share in (0.05, 0.5, 0.95):
        at = start + way * (enter + share * (leave - enter))
        assert np.all(holds(shapes, at.T, deep_m=0.0) == 0)
    beyond = start + way * (leave + 1e-4)
    assert np.all(holds(shapes, beyond.T, deep_m=1e-6) == -1)


@pytest.mark.identity
@pytest.mark.parametrize("shape", ["box", "ellipsoid", "cylinder"])
def test_patches_lie_on_their_skin_and_make_up_its_area(shape: str) -> None:
    """The patch at each patch's centre is itself; areas add to the closed form of the skin."""
    body = Solid("s", shape, 0.3, 0.2, 0.2, (0.16, 0.16, 0.16), 20.0)
    skins = skins_of(TANK, shapes_of((body,)))
    own = np.arange(skins.floor_count, len(skins.area_m2))
    assert 24 <= own.size <= 200
    at = skins.centre[own].T
    assert np.array_equal(skins.on_solid(np.zeros(own.size, dtype=int), at), own)
    r = 0.08
    area = {"box": 24 * r * r, "ellipsoid": 4 * np.pi * r * r, "cylinder": 6 * np.pi * r * r}[shape]
    assert skins.area_m2[own].sum() == pytest.approx(area, rel=1e-9)
