"""The light field as a whole: closed forms, symmetries, sums."""

from __future__ import annotations

import tracemalloc
from dataclasses import replace

import numpy as np
import pytest
from physics.reference_scenes import ALL_PHOTONS, NO_TABLES, irradiance, lamp, one_cell, read_scenes, water_of

from lightdose.errors import SetupError
from lightdose.model.fixture import Channel, CosineLobe, DimmingCurve, Fixture, PhotometricLobe, TabulatedLobe
from lightdose.model.light import LIGHT_PARTS, LightField, Scene
from lightdose.model.setup import WALL_NAMES, Cover, Receiver, Tank, Wall, Water
from lightdose.model.spectrum import GRID_NM, LedPeak, ReferenceTables, SpectralTable, Weightings
from lightdose.physics.emission import cosine_exponent
from lightdose.physics.light_field import (
    light_field_parts,
    prepare_field,
    response_at,
    response_chunks,
    spectral_transfer,
)
from lightdose.physics.water import horizontal_reach, surface_transmittance

DARK = dict.fromkeys(WALL_NAMES, Wall("dark"))
MIRRORS = dict.fromkeys(WALL_NAMES, Wall("reflectance", 1.0))
BATWING = TabulatedLobe(np.array([0.0, 30.0, 60.0, 90.0]), np.array([0.7, 1.0, 0.3, 0.0]))
LOPSIDED = PhotometricLobe(
    np.array([0.0, 90.0, 180.0, 270.0, 360.0]),
    np.array([0.0, 40.0, 80.0]),
    np.array([[5, 4, 0], [5, 3, 0.2], [5, 1, 0], [5, 2, 1], [5, 4, 0]], dtype=float),
)

# Invented water and channels with the shape of the real ones: absorption rises through the red.
CURVE = SpectralTable(
    "like water",
    np.array([300.0, 420.0, 500.0, 600.0, 650.0, 700.0, 750.0, 800.0]),
    np.array([0.02, 0.0045, 0.02, 0.22, 0.34, 0.62, 2.85, 2.25]),
)
TABLES = ReferenceTables(np.ones(500), np.ones((3, 500)), CURVE.on_grid(), {})
BANDS = Weightings(
    ("ppfd", "blue", "red", "far_red"),
    np.array(
        [(a < GRID_NM) & (b > GRID_NM) for a, b in ((400, 700), (400, 500), (600, 700), (700, 800))], float
    ),
)


def spread_points(tank: Tank, count: int, seed: int = 1) -> np.ndarray:
    size = (tank.length_m, tank.width_m, tank.water_depth_m)
    return np.random.default_rng(seed).random((count, 3)) * size


def two_channel(
    name: str, x: float, y: float, beams: tuple = (CosineLobe(90), BATWING), **more: float
) -> Fixture:
    base = lamp(name, beams[0], x, y, 0.2, (0.2, 0.06), more.pop("rotation_deg", 0.0))
    channels = tuple(
        Channel(f"c{i}", LedPeak(450, 20), beam, DimmingCurve.linear()) for i, beam in enumerate(beams)
    )
    return replace(base, type=replace(base.type, channels=channels), **more)


def peaks(*at_nm: float) -> np.ndarray:
    return np.array([np.exp(-(((GRID_NM - nm) / 12) ** 2)) for nm in at_nm])


def field_of(sites: list[Receiver], scene: Scene) -> LightField:
    return prepare_field(scene, BANDS, for_points=len(sites)).light_field(sites)


@pytest.mark.identity
@pytest.mark.parametrize("fwhm", [40, 90, 120])
def test_without_water_and_walls_it_is_the_inverse_square_law(fwhm):
    """Index 1, dark walls, dark floor: I cos^(m+1) / r^2 times exp(-a l)."""
    tank = Tank(0.6, 0.5, 0.45, walls=DARK, floor_reflectance=0.0)
    points = spread_points(tank, 200)
    got = irradiance(points, [lamp("a", CosineLobe(fwhm), 0.2, 0.25, 0.2)], [1.0], tank, water_of(1.0, 0.7))
    down = 0.2 + points[:, 2]
    r = np.sqrt((points[:, 0] - 0.2) ** 2 + (points[:, 1] - 0.25) ** 2 + down**2)
    m = cosine_exponent(fwhm)
    want = (m + 1) / (2 * np.pi) * (down / r) ** (m + 1) / r**2 * np.exp(-0.7 * r * points[:, 2] / down)
    assert got == pytest.approx(want, rel=1e-9)


@pytest.mark.identity
def test_with_dark_walls_it_is_the_refracted_flux_tube():
    """Light in a thin ring of directions falls on the ring that Snell's law gives, less Fresnel's loss."""
    tank = Tank(3.0, 3.0, 0.5, walls=DARK, floor_reflectance=0.0)
    n, h, s = 1.34, 0.25, 0.4
    u = np.tan(np.radians([0.5, 10, 30, 50, 65]))
    reach, step = horizontal_reach(u, h, s, n), 1e-5
    wider = horizontal_reach(u * (1 + step), h, s, n)
    narrower = horizontal_reach(u * (1 - step), h, s, n)
    cosine = [1 / np.sqrt(1 + (u * f) ** 2) for f in (1 - step, 1 + step)]
    solid_angle = 2 * np.pi * (cosine[0] - cosine[1])
    intensity = 1 / np.pi / np.sqrt(1 + u * u)
    want = intensity * solid_angle / (np.pi * (wider**2 - narrower**2))
    want *= surface_transmittance(1 / np.sqrt(1 + u * u), n)
    points = np.column_stack((1.5 + reach, np.full(5, 1.5), np.full(5, s)))
    got = irradiance(points, [lamp("a", CosineLobe(120), 1.5, 1.5, h)], [1.0], tank, water_of(n, 0.0))
    assert got == pytest.approx(want, rel=1e-7)


def mirrored_x(tank: Tank, points: np.ndarray, fixture: Fixture) -> tuple[Tank, np.ndarray, Fixture]:
    walls = dict(tank.walls) | {"left": tank.walls["right"], "right": tank.walls["left"]}
    there = points * [-1, 1, 1] + [tank.length_m, 0, 0]
    moved = replace(fixture, x_m=tank.length_m - fixture.x_m, rotation_deg=-fixture.rotation_deg)
    return replace(tank, walls=walls), there, moved


def turned(tank: Tank, points: np.ndarray, fixture: Fixture) -> tuple[Tank, np.ndarray, Fixture]:
    """A quarter turn counter-clockwise seen from above: (x, y) to (W - y, x)."""
    old = tank.walls
    walls = {"right": old["front"], "back": old["right"], "left": old["back"], "front": old["left"]}
    there = np.column_stack((tank.width_m - points[:, 1], points[:, 0], points[:, 2]))
    moved = replace(
        fixture, x_m=tank.width_m - fixture.y_m, y_m=fixture.x_m, rotation_deg=fixture.rotation_deg + 90
    )
    return replace(tank, length_m=tank.width_m, width_m=tank.length_m, walls=walls), there, moved


def swapped(tank: Tank, points: np.ndarray, fixture: Fixture) -> tuple[Tank, np.ndarray, Fixture]:
    """Length and width change places: (x, y) to (y, x)."""
    old = tank.walls
    walls = {"left": old["front"], "front": old["left"], "right": old["back"], "back": old["right"]}
    moved = replace(fixture, x_m=fixture.y_m, y_m=fixture.x_m, rotation_deg=90 - fixture.rotation_deg)
    there = replace(tank, length_m=tank.width_m, width_m=tank.length_m, walls=walls)
    return there, points[:, [1, 0, 2]], moved


UNEVEN = {"front": Wall(), "back": Wall("painted"), "left": Wall("reflectance", 0.6), "right": Wall()}


@pytest.mark.identity
@pytest.mark.parametrize("move", [mirrored_x, turned, swapped])
@pytest.mark.parametrize("rim", [0.0, 0.05])
@pytest.mark.parametrize("size", [(0.0, 0.0), (0.18, 0.05)])
def test_a_moved_tank_has_a_moved_field(move, rim, size):
    """Mirroring or turning tank, walls and lamp mirrors or turns the light."""
    tank = Tank(0.6, 0.4, 0.35, rim_m=rim, walls=UNEVEN, floor_reflectance=0.4)
    fixture = lamp("a", BATWING, 0.22, 0.13, 0.15, size, 25.0)
    points = spread_points(tank, 60)
    other_tank, other_points, other_fixture = move(tank, points, fixture)
    water = water_of(1.34, 0.3)
    here = irradiance(points, [fixture], [1.0], tank, water)
    there = irradiance(other_points, [other_fixture], [1.0], other_tank, water)
    assert there == pytest.approx(here, rel=1e-7)


@pytest.mark.identity
def test_a_lopsided_lobe_turns_with_its_fixture():
    """An asymmetric lobe in a turned tank turns along; turned alone it changes the light."""
    tank = Tank(0.6, 0.4, 0.35, walls=UNEVEN)
    fixture = lamp("a", LOPSIDED, 0.22, 0.13, 0.15, (0.18, 0.05), 25.0)
    points = spread_points(tank, 40)
    here = irradiance(points, [fixture], [1.0], tank, water_of(1.34, 0.3))
    other_tank, other_points, other_fixture = turned(tank, points, fixture)
    there = irradiance(other_points, [other_fixture], [1.0], other_tank, water_of(1.34, 0.3))
    assert there == pytest.approx(here, rel=1e-7)
    half_turn = irradiance(points, [replace(fixture, rotation_deg=205.0)], [1.0], tank, water_of(1.34, 0.3))
    assert np.max(np.abs(half_turn / here - 1)) > 0.2


@pytest.mark.identity
@pytest.mark.parametrize(("move", "planes"), [(mirrored_x, [2, 1, 0, 3, 2]), (swapped, [0, 3, 2, 1, 0])])
def test_a_mirrored_tank_mirrors_a_lopsided_lobe(move, planes):
    """With C taken to 180 deg - C, or to -C, a photometric beam gives the mirrored or swapped field."""
    tank = Tank(0.6, 0.4, 0.35, rim_m=0.05, walls=UNEVEN, floor_reflectance=0.4)
    points = spread_points(tank, 40)
    fixture = lamp("a", LOPSIDED, 0.22, 0.13, 0.15, (0.18, 0.05), 25.0)
    here = irradiance(points, [fixture], [1.0], tank, water_of(1.34, 0.3))
    other_tank, other_points, moved = move(tank, points, fixture)

    def there(lobe: PhotometricLobe) -> np.ndarray:
        other = lamp("a", lobe, moved.x_m, moved.y_m, 0.15, (0.18, 0.05), moved.rotation_deg)
        return irradiance(other_points, [other], [1.0], other_tank, water_of(1.34, 0.3))

    mirrored = replace(LOPSIDED, relative=LOPSIDED.relative[planes])
    assert there(mirrored) == pytest.approx(here, rel=1e-7)
    assert np.max(np.abs(there(LOPSIDED) / here - 1)) > 0.1


@pytest.mark.identity
@pytest.mark.parametrize("beam", [CosineLobe(90), BATWING])
def test_perfect_mirrors_bring_all_transmitted_light_to_the_floor(beam):
    """Reflectance 1, no absorption, dark floor: the floor's sum is what passed the surface."""
    tank = Tank(0.3, 0.24, 0.4, walls=MIRRORS, floor_reflectance=0.0)
    fixture, water = lamp("a", beam, 0.1, 0.13, 0.2), water_of(1.34, 0.0)

    def plane_sum(depth: float, walls: dict[str, Wall], index: float, across: int) -> float:
        x, y = ((np.arange(across) + 0.5) / across * side for side in (tank.length_m, tank.width_m))
        grid = np.stack(np.meshgrid(x, y, [depth]), axis=-1).reshape(-1, 3)
        there = replace(tank, walls=walls)
        light = irradiance(grid, [fixture], [1.0], there, replace(water, refractive_index=index))
        return float(light.mean()) * tank.length_m * tank.width_m

    entered = plane_sum(0.0, DARK, 1.34, 200)
    assert plane_sum(tank.water_depth_m, MIRRORS, 1.34, 400) == pytest.approx(entered, rel=2e-3)


@pytest.mark.published
@pytest.mark.parametrize("scene", read_scenes(), ids=lambda scene: scene.name)
def test_reference_scenes(scene):
    """Squares agree with an independent photon-tracing simulation: 2 % + 3 se, 4 % in glass corners."""
    # Source: tests/data/lightfield_scenes.json, weighted Monte Carlo, one scene also by Mitsuba 3.9.1.
    reference = np.array([square.reference for square in scene.squares])
    assert np.all(np.abs(scene.model() / reference - 1) <= scene.tolerance())


@pytest.mark.identity
def test_light_is_linear_in_flux_and_adds_over_fixtures():
    """Twice the photons give twice the light; two fixtures give the sum of each alone."""
    tank = Tank(0.75, 0.45, 0.4, rim_m=0.04)
    one, two = two_channel("one", 0.2, 0.2), two_channel("two", 0.5, 0.25, rotation_deg=30.0)
    sites = [Receiver(f"s{i}", f"s{i}", *p, 1.0) for i, p in enumerate(spread_points(tank, 12))]
    emission = peaks(420, 660, 450, 730)
    rest = (tank, Water(), Cover(), TABLES)
    both = field_of(sites, Scene((one, two), emission, *rest))
    first = field_of(sites, Scene((one,), emission[:2], *rest))
    second = field_of(sites, Scene((two,), 2 * emission[2:], *rest))
    assert both.response[:, :2] == pytest.approx(first.response, rel=1e-7)
    assert both.response[:, 2:] == pytest.approx(second.response / 2, rel=1e-7)
    assert [key.fixture for key in both.channels] == ["one", "one", "two", "two"]


@pytest.mark.identity
def test_open_sky_cover_and_output_scale_multiply_everything():
    """Each scales the response of a site, and only of what it belongs to."""
    tank = Tank(0.75, 0.45, 0.4)
    at = (0.3, 0.2, 0.25)
    sites = [Receiver("a", "a", *at, 1.0), Receiver("b", "b", *at, 0.3)]
    scene = Scene((two_channel("l", 0.2, 0.2),), peaks(420, 660), tank, Water(), Cover(), TABLES)
    plain = field_of(sites, scene)
    assert plain.response[1] == pytest.approx(0.3 * plain.response[0], rel=1e-12)
    dim = (two_channel("l", 0.2, 0.2, output_scale=0.5),)
    half_blue = SpectralTable(
        "tinted", np.array([300.0, 550.0, 551.0, 800.0]), np.array([0.5, 0.5, 1.0, 1.0])
    )
    covered = field_of(sites, replace(scene, fixtures=dim, cover=Cover(half_blue)))
    assert covered.response[0, 0] == pytest.approx(0.25 * plain.response[0, 0], rel=1e-6)
    assert covered.response[0, 1] == pytest.approx(0.5 * plain.response[0, 1], rel=1e-6)


@pytest.mark.identity
@pytest.mark.parametrize("yellowing", [0.0, 2.0])
def test_spectrum_of_the_site_sums_to_the_response(yellowing):
    """Emission times transfer times weighting, cell by cell, is the response."""
    tank, water = Tank(0.75, 0.45, 0.4), Water(yellowing_440_per_m=yellowing)
    sites = [Receiver(f"s{i}", f"s{i}", *p, 0.7) for i, p in enumerate(spread_points(tank, 6))]
    scene = Scene((two_channel("l", 0.2, 0.2),), peaks(420, 660), tank, water, Cover(0.9), TABLES)
    transfer = spectral_transfer(sites, scene)
    response = field_of(sites, scene).response
    assert np.einsum("scl,cl,kl->sck", transfer, scene.emission, BANDS.matrix) == pytest.approx(
        response, rel=1e-6, abs=1e-9 * response.max()
    )


@pytest.mark.identity
@pytest.mark.parametrize("index", [1.0, 1.34])
@pytest.mark.parametrize("beam", [CosineLobe(30), CosineLobe(120)])
def test_light_falls_with_depth_under_the_lamp(index, beam):
    """Dark walls, dark floor, a lobe that does not rise with angle: deeper is darker."""
    tank = Tank(0.5, 0.5, 0.6, walls=DARK, floor_reflectance=0.0)
    points = np.column_stack((np.full(40, 0.2), np.full(40, 0.25), np.linspace(0, 0.6, 40)))
    for size in ((0.0, 0.0), (0.3, 0.06)):
        light = irradiance(points, [lamp("a", beam, 0.2, 0.25, 0.2, size)], [1.0], tank, water_of(index, 0.1))
        assert np.all(np.diff(light) < 0)


@pytest.mark.identity
def test_places_above_the_water_see_the_lamp_alone():
    """Above the surface the direct beam in air counts, over the lamp there is nothing."""
    tank = Tank(0.75, 0.45, 0.4, floor_reflectance=0.5)
    points = np.array([[0.3, 0.2, -0.1], [0.4, 0.2, -0.05], [0.3, 0.2, -0.3]])
    light = irradiance(
        points, [lamp("a", CosineLobe(120), 0.3, 0.2, 0.25)], [np.pi], tank, water_of(1.34, 1.0)
    )
    assert light[0] == pytest.approx(1 / 0.15**2, rel=1e-12)
    assert light[1] == pytest.approx(0.2**2 / (0.2**2 + 0.1**2) ** 2, rel=1e-12)
    assert light[2] == 0


@pytest.mark.identity
def test_many_places_get_the_same_light_as_few():
    """Blocks, threads and the table of the floor change nothing."""
    tank = Tank(0.75, 0.45, 0.4)
    scene = Scene((two_channel("l", 0.2, 0.2),), peaks(420, 660), tank, Water(), Cover(), TABLES)
    points = spread_points(tank, 25_000)
    points[::7, 2] *= -0.3
    many = response_at(points, scene, BANDS)
    few = response_at(points[::1000], scene, BANDS)
    assert many[::1000] == pytest.approx(few, rel=1e-11)
    seen = [(part, block.copy()) for part, block in response_chunks(points, scene, BANDS)]
    assert seen[-1][0].stop == len(points)
    assert np.array_equal(np.concatenate([block for _, block in seen]), many)


@pytest.mark.identity
def test_working_memory_stays_bounded():
    """Beyond what it returns, a field takes less than 400 MB, and no more for twice as many points."""
    tank = Tank(0.75, 0.45, 0.4)
    fixtures = (lamp("a", CosineLobe(90), 0.3, 0.2, 0.2),)
    scene = Scene(fixtures, one_cell([1.0]), tank, water_of(1.34, 0.1), Cover(), NO_TABLES)
    taken = []
    for count in (150_000, 300_000):
        points = spread_points(tank, count)
        tracemalloc.start()
        light = response_at(points, scene, ALL_PHOTONS)
        taken.append(tracemalloc.get_traced_memory()[1] - light.nbytes)
        tracemalloc.stop()
    assert max(taken) < 400e6
    assert taken[1] < taken[0] + 20e6


@pytest.mark.identity
def test_parts_add_up_to_the_light():
    """Direct, wall, rim and floor light sum to the response; each part comes from where it says."""
    walls = {"front": Wall(), "back": Wall("dark"), "left": Wall(), "right": Wall()}
    tank = Tank(0.75, 0.45, 0.4, rim_m=0.05, walls=walls)
    points = np.vstack((spread_points(tank, 20), [[0.03, 0.2, 0.3], [0.3, 0.2, -0.05]]))
    sites = [Receiver(f"s{i}", f"s{i}", *p, 0.8) for i, p in enumerate(points)]
    scene = Scene((two_channel("l", 0.2, 0.2),), peaks(420, 660), tank, Water(), Cover(), TABLES)
    parts = light_field_parts(sites, scene, BANDS)
    whole = field_of(sites, scene).response
    assert parts.response.sum(axis=1) == pytest.approx(whole, rel=1e-7)
    share = parts.response[:, :, 0, 0]
    assert np.all(share[:, LIGHT_PARTS.index("back")] == 0)
    assert np.argmax(share[20, 1:]) + 1 == LIGHT_PARTS.index("left")
    assert list(np.flatnonzero(share[21])) == [LIGHT_PARTS.index("direct")]
    assert np.all(parts.unabsorbed >= whole)
    assert np.all((parts.mean_path_m[:20] >= points[:20, 2, None]) & (parts.mean_path_m[:20] < 1.6 * 0.4))
    assert np.all((parts.surface_loss_fraction[:20] > 0.02) & (parts.surface_loss_fraction[:20] < 0.2))
    assert np.all(np.isnan(parts.mean_path_m[21]))


@pytest.mark.identity
def test_no_fixtures_and_no_receivers_give_empty_fields():
    """Nothing hangs or nothing is asked: the shapes stay."""
    tank = Tank(0.75, 0.45, 0.4)
    site = Receiver("a", "a", 0.1, 0.1, 0.1, 1.0)
    scene = Scene((two_channel("l", 0.2, 0.2),), peaks(420, 660), tank, Water(), Cover(), TABLES)
    nothing = replace(scene, fixtures=(), emission=np.zeros((0, 500)))
    assert field_of([site], nothing).response.shape == (1, 0, 4)
    assert field_of([], scene).response.shape == (0, 2, 4)
    dark = field_of([site], replace(scene, emission=np.zeros((2, 500))))
    assert np.all(dark.response == 0)


@pytest.mark.pinned
def test_emission_of_other_channels_is_refused():
    """One row of emission a channel."""
    with pytest.raises(SetupError, match="the emission of 2 channels needs the shape"):
        Scene((two_channel("l", 0.2, 0.2),), peaks(420), Tank(1, 1, 1), Water(), Cover(), TABLES)


@pytest.mark.identity
@pytest.mark.parametrize("index", [1.0, 1.34, 1.5])
@pytest.mark.parametrize("lamp_x_m", [0.0, 0.2, 0.6, 0.7])
def test_place_on_a_pane_under_a_lamp_over_it_has_the_light_of_its_neighbours(lamp_x_m: float, index: float):
    """Lamp and place in the plane of a pane: the light of a lamp a nanometre further inside, and finite."""
    tank, water = Tank(0.6, 0.4, 0.35), Water(refractive_index=index)
    places = np.array([[0.0, 0.2, 0.1], [0.6, 0.2, 0.1], [0.0, 0.0, 0.35], [0.0, 0.2, 0.0]])
    inside = min(max(lamp_x_m, 1e-9), 0.6 - 1e-9) if lamp_x_m <= 0.6 else lamp_x_m
    there, beside = (
        irradiance(places, [lamp("one", CosineLobe(90), x, 0.2, 0.2)], [1.0], tank, water)
        for x in (lamp_x_m, inside)
    )
    assert np.isfinite(there).all()
    assert (there >= 0).all()
    assert there == pytest.approx(beside, rel=1e-6, abs=1e-9)


@pytest.mark.identity
@pytest.mark.parametrize("glass_m", [0.0, 0.01])
def test_light_goes_on_without_a_step_where_glass_has_the_index_of_the_water(glass_m: float):
    """Glass of the water's own index, and of one a billionth above it: the same light everywhere."""
    places = spread_points(Tank(0.6, 0.4, 0.35), 40)
    one = lamp("one", CosineLobe(90), 0.2, 0.1, 0.2, (0.1, 0.1))
    tanks = (Tank(0.6, 0.4, 0.35, glass_m, 1.4 * (1 + step)) for step in (0, 1e-9))
    lights = [irradiance(places, [one], [1.0], tank, Water(refractive_index=1.4)) for tank in tanks]
    assert np.isfinite(lights[0]).all()
    assert lights[0] == pytest.approx(lights[1], rel=1e-6)
