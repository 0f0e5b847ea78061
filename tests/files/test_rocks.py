"""Rock, braces, bodies of corals and faces in setup.toml and its CSV files, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from lightdose.errors import Problem, SetupError
from lightdose.files.places_csv import corals_csv
from lightdose.files.setup_file import read_setup
from lightdose.model.places import PlaceWishes
from lightdose.model.setup import Setup
from lightdose.model.solids import FACES, Brace, Face, Growth, Solid
from lightdose.workflows.placing import place

WriteSetup = Callable[..., Path]

ROCK = """
[[rock]]
name = "left arch"
shape = "box"
at = { x = "20 cm", y = "25 cm", height = "10 cm" }
size = { x = "10 cm", y = "12 cm", z = "20 cm" }
"""
CSV_HEAD = "rock,shape,x_cm,y_cm,z_cm,size_x_cm,size_y_cm,size_z_cm,turn_deg,reflectance\n"


def site(at: str, more: str = "") -> str:
    return f'\n[[site]]\nname = "here"\nat = {{ {at} }}\n{more}\n'


def coral(more: str) -> str:
    return site('x = "60 cm", y = "20 cm", depth = "30 cm"') + (
        f'[[coral]]\nname = "frag"\ngroup = "sps-shallow"\nsite = "here"\n{more}\n'
    )


def only_problem(path: Path) -> Problem:
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    (problem,) = caught.value.problems
    assert problem.place is not None
    assert problem.place.line
    return problem


def said(setup: Setup, word: str) -> str:
    return next(sentence for sentence in setup.understood if word in sentence)


@pytest.mark.identity
def test_rock_takes_every_key(write_setup: WriteSetup) -> None:
    """Height of its centre above the floor becomes depth; a slab is named by its top; defaults hold."""
    slab = ROCK.replace('"box"', '"slab"').replace("left arch", "ledge").replace('20 cm" }\n', '4 cm" }\n')
    more = "turn_deg = 30\nreflectance = 0.25\n"
    arch, ledge = read_setup(write_setup(ROCK + slab + more)).rocks
    assert arch == Solid("left arch", "box", 0.20, 0.25, pytest.approx(0.30), (0.10, 0.12, 0.20))  # type: ignore[arg-type]
    assert (ledge.shape, ledge.turn_deg, ledge.reflectance) == ("box", 30, 0.25)
    assert ledge.extent_m[2] == pytest.approx((0.30, 0.34))


@pytest.mark.identity
def test_rocks_csv_joins_the_rocks(write_setup: WriteSetup) -> None:
    """z is the height above the floor; a blank turn and reflectance are those of a rock without them."""
    path = write_setup(ROCK, rocks__csv=CSV_HEAD + "boulder,ellipsoid,60,35,4,10,10,8,,\n")
    path.write_text('rocks = "rocks.csv"\n' + path.read_text())
    _, boulder = read_setup(path).rocks
    assert boulder == Solid("boulder", "ellipsoid", 0.60, 0.35, pytest.approx(0.36), (0.10, 0.10, 0.08))  # type: ignore[arg-type]


@pytest.mark.identity
def test_rock_whose_name_starts_with_a_mark_is_a_rock(write_setup: WriteSetup) -> None:
    """ "#1 a" is a rock in `rocks.csv` as it is a coral in `corals.csv`; "# b" is a comment."""
    rows = "#1 a,box,60,35,4,10,10,8,,\n# b,box,30,35,4,10,10,8,,\nc,box,20,15,4,10,10,8,,\n"
    path = write_setup(rocks__csv=CSV_HEAD + rows)
    path.write_text('rocks = "rocks.csv"\n' + path.read_text())
    assert [rock.name for rock in read_setup(path).rocks] == ["#1 a", "c"]


@pytest.mark.identity
def test_brace_takes_every_key(write_setup: WriteSetup) -> None:
    """Its two ends, width and the share of light that passes."""
    text = '[[brace]]\nname = "b"\nfrom = { x = "30 cm", y = "0 cm" }\nto = { x = "30 cm", y = "45 cm" }\n'
    (brace,) = read_setup(write_setup(text + 'width = "6 cm"\npasses = 0.85\n')).braces
    assert brace == Brace("b", (0.30, 0.0), (0.30, 0.45), 0.06, 0.85)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("written", "face"),
    [
        ('"up"', None),
        *((f'"{word}"', face) for word, face in FACES.items()),
        ("{ toward_deg = 200, tilt_deg = 60 }", Face(200, 60)),
        ("{ toward_deg = 200, tilt_deg = 0 }", None),
    ],
)
def test_faces_are_words_or_two_angles(write_setup: WriteSetup, written: str, face: Face | None) -> None:
    """Up is no face of its own; front looks to -y, right to +x."""
    setup = read_setup(write_setup(site('x = "60 cm", y = "20 cm", depth = "10 cm"', f"faces = {written}")))
    assert setup.sites[0].face == face
    assert FACES["front"].normal == pytest.approx((0, -1, 0), abs=1e-12)
    assert FACES["right"].normal == pytest.approx((1, 0, 0), abs=1e-12)
    assert FACES["down"].normal == pytest.approx((0, 0, -1), abs=1e-12)


@pytest.mark.identity
def test_csv_files_take_faces_and_bodies(write_setup: WriteSetup) -> None:
    """toward_deg and tilt_deg in both; form, diameter_cm and passes of corals."""
    sites = "site,x_cm,y_cm,depth_cm,toward_deg,tilt_deg\na,60,20,30,270,90\nb,50,20,30,,\n"
    corals = (
        "coral,group,site,height_cm,form,diameter_cm,passes,growth_diameter_cm,toward_deg,tilt_deg\n"
        "c,clam,b,5,dome,9,0.3,0.6,0,45\n"
    )
    path = write_setup(sites__csv=sites, corals__csv=corals)
    path.write_text('sites = "sites.csv"\ncorals = "corals.csv"\n' + path.read_text())
    setup = read_setup(path)
    assert [s.face for s in setup.sites] == [FACES["front"], None]
    (c,) = setup.corals
    assert (c.form, c.diameter_m, c.passes, c.face) == ("dome", 0.09, 0.3, Face(0, 45))
    assert c.growth == Growth(0.006)


@pytest.mark.identity
def test_corals_with_a_diameter_are_solids(write_setup: WriteSetup) -> None:
    """Its form follows its group where it tells none; without a diameter, or with form none, no body."""
    body = 'height = "6 cm"\ndiameter = "9 cm"\ngrowth = { diameter = "0.6 cm", height = "0.3 cm" }'
    setup = read_setup(write_setup(coral(body)))
    assert setup.corals[0].growth == Growth(0.006, 0.003)
    assert setup.standing is not None
    (solid,) = setup.standing.solids
    assert (solid.shape, solid.passes, solid.coral) == ("ellipsoid", 0.4, "frag")
    assert solid.size_m == pytest.approx((0.09, 0.09, 0.12))
    assert (solid.depth_m, solid.base_depth_m) == (0.30, 0.30)
    assert read_setup(write_setup(coral('height = "6 cm"'))).standing is None
    none = read_setup(write_setup(coral(body + '\nform = "none"'))).standing
    assert none is not None
    assert none.solids == ()


@pytest.mark.identity
def test_a_place_near_the_top_of_a_rock_stands_on_it(write_setup: WriteSetup) -> None:
    """Within 5 mm above or below it snaps and is said; further above it stays."""
    for height, depth in (("20.4 cm", 0.20), ("19.7 cm", 0.20), ("20.6 cm", 0.194)):
        setup = read_setup(write_setup(ROCK + site(f'x = "20 cm", y = "25 cm", height = "{height}"')))
        assert setup.sites[0].depth_m == pytest.approx(depth, abs=1e-9)
    assert "onto left arch" in said(
        read_setup(write_setup(ROCK + site('x = "20 cm", y = "25 cm", height = "20.4 cm"'))), "site here"
    )


@pytest.mark.identity
def test_a_place_hardly_in_the_side_of_a_rock_stands_on_it(write_setup: WriteSetup) -> None:
    """4 mm behind the left side of the arch: out to the left, and said; no ruler tells that from the skin."""
    setup = read_setup(write_setup(ROCK + site('x = "15.4 cm", y = "25 cm", height = "10 cm"')))
    (here,) = setup.sites
    assert (here.x_m, here.y_m, here.depth_m) == pytest.approx((0.15, 0.25, 0.30), abs=1e-9)
    assert "put 0.4 cm out, onto left arch" in said(setup, "site here")


@pytest.mark.identity
def test_a_place_in_a_rock_is_refused_with_the_nearest_outside(write_setup: WriteSetup) -> None:
    """2 cm behind the left side of the arch: out to the left."""
    problem = only_problem(write_setup(ROCK + site('x = "17 cm", y = "25 cm", height = "10 cm"')))
    assert problem.found == "site 'here' lies in left arch"
    assert '{ x = "15 cm", y = "25 cm", depth = "30 cm" }' in problem.allowed


@pytest.mark.identity
def test_rock_beyond_the_water_is_cut_or_refused(write_setup: WriteSetup) -> None:
    """Above the surface and through a wall it is cut and said; wholly outside it is refused."""
    tall = ROCK.replace('z = "20 cm"', 'z = "70 cm"').replace('x = "20 cm", y', 'x = "2 cm", y')
    told = said(read_setup(write_setup(tall)), "rock left arch")
    assert "beyond the left wall" in told
    assert "beyond the surface" in told
    away = only_problem(write_setup(ROCK.replace('x = "20 cm", y', 'x = "90 cm", y')))
    assert away.found == "rock 'left arch' lies beyond the right wall"


@pytest.mark.identity
@pytest.mark.parametrize(
    ("more", "found", "cure"),
    [
        (ROCK.replace('z = "20 cm"', 'z = "0 cm"'), "is not above 0", ""),
        (ROCK.replace("height =", "deep ="), "the key deep is not known", ""),
        (ROCK + ROCK, "stands twice", "stands at"),
        (site('x = "9 cm", y = "9 cm", depth = "9 cm"', 'faces = "frnt"'), "is not known here", "front"),
        (site('x = "9 cm", y = "9 cm", depth = "9 cm"', "faces = 90"), "is no face", ""),
        (coral('form = "dome"'), "needs a diameter", "add diameter"),
        (coral('diameter = "9 cm"'), "needs a height", "add height"),
        (coral('diameter = "9 cm"\nform = "table"'), "needs a height", "add height"),
        (coral('form = "domed"'), "is not known here", "dome"),
    ],
)
def test_each_slip_has_one_message_with_its_cure(
    write_setup: WriteSetup, more: str, found: str, cure: str
) -> None:
    """Size 0, an unknown key, a face of nonsense, a form without its size: where, what, how to mend it."""
    with pytest.raises(SetupError) as caught:
        read_setup(write_setup(more))
    problems = [p for p in caught.value.problems if found in p.found]
    assert len(problems) == 1
    assert cure in problems[0].cure


@pytest.mark.identity
def test_501_rocks_are_refused(write_setup: WriteSetup) -> None:
    """500 solids in all; the message counts them."""
    rows = "".join(f"r{n},box,{10 + n / 20},20,3,1,1,1,,\n" for n in range(501))
    path = write_setup(rocks__csv=CSV_HEAD + rows)
    path.write_text('rocks = "rocks.csv"\n' + path.read_text())
    problem = only_problem(path)
    assert problem.found == "501 rocks and 0 colonies with a diameter"
    assert problem.allowed == "up to 500 in all"


@pytest.mark.identity
def test_rocks_csv_names_its_slips(write_setup: WriteSetup) -> None:
    """An unknown shape, a size of 0, an angle out of range: each with its line."""
    path = write_setup(
        rocks__csv=CSV_HEAD + "a,ball,1,2,3,4,5,6,,\nb,box,1,2,3,0,5,6,,\nc,box,1,2,3,4,5,6,400,\n"
    )
    path.write_text('rocks = "rocks.csv"\n' + path.read_text())
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    lines = [p.place.line for p in caught.value.problems if p.place]
    assert lines == [2, 3, 4]


@pytest.mark.identity
def test_place_writes_bodies_and_faces_back(write_setup: WriteSetup) -> None:
    """Form, diameter, passes and face stand in the written corals, and no open sky that nobody wrote."""
    more = 'height = "6 cm"\ndiameter = "9 cm"\nform = "dome"\npasses = 0.2\nfaces = "front"'
    more += '\ngrowth = { height = "0.4 cm" }'
    setup = read_setup(write_setup(ROCK + coral(more)))
    placement = place(setup, PlaceWishes(everything=True))
    here = site('x = "60 cm", y = "20 cm", depth = "30 cm"')
    path = write_setup(ROCK + here, corals__csv=corals_csv(placement))
    path.write_text('corals = "corals.csv"\n' + path.read_text())
    before, after = setup.corals[0], read_setup(path).corals[0]
    for key in ("form", "diameter_m", "passes", "growth", "face", "own_sky", "height_m"):
        assert getattr(after, key) == getattr(before, key), key
