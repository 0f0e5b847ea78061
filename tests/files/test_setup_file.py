"""setup.toml as a whole: defaults, units, variations, and every problem of every file in one run."""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import Problem, SetupError
from lightdose.files.setup_file import Variations, read_setup
from lightdose.model.setup import Wall

WriteSetup = Callable[..., Path]
EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


AGAIN = """\
[[fixture]]
name = "left"
type = "panel.toml"
at = { x = "1 cm", y = "1 cm", height = "9 cm" }
schedule = "daily.csv"
"""


def problems_of(path: Path, variations: Variations | None = None) -> tuple[Problem, ...]:
    with pytest.raises(SetupError) as caught:
        read_setup(path, variations or Variations())
    return caught.value.problems


def only_problem(path: Path) -> Problem:
    (problem,) = problems_of(path)
    assert problem.place is not None
    return problem


# ---- defaults -------------------------------------------------------------------------------------------


@pytest.mark.identity
def test_tank_takes_every_default_of_the_contract(write_setup: WriteSetup) -> None:
    """10 mm of glass with index 1.52, no rim, clean walls, floor 0.3; no water, cover or meter of its own."""
    setup = read_setup(write_setup())
    tank = setup.tank
    assert (tank.length_m, tank.width_m, tank.water_depth_m) == (0.75, 0.45, 0.40)
    assert (tank.glass_thickness_m, tank.glass_index, tank.rim_m) == (0.010, 1.52, 0.0)
    assert dict(tank.walls) == {side: Wall("clean") for side in ("front", "back", "left", "right")}
    assert tank.floor_reflectance == 0.3
    water = setup.water
    assert (water.yellowing_440_per_m, water.yellowing_slope_per_nm) == (0.0, 0.0165)
    assert (water.refractive_index, water.absorption) == (1.34, None)
    assert setup.cover.transmittance == 1.0
    assert setup.electricity is None
    assert (dict(setup.meters), dict(setup.uncertainty)) == ({}, {})
    assert (setup.sites, setup.corals) == ((), ())
    assert setup.title == "Test tank (invented)"


@pytest.mark.identity
@pytest.mark.parametrize(("table", "cure"), [("Reef", "[[rock]]"), ("Lamp", "[[fixture]]")])
def test_words_that_are_no_slips_of_a_key_get_their_own_cure(
    write_setup: WriteSetup, table: str, cure: str
) -> None:
    """A reef is no rack: what is told is where rock and light belong."""
    problem = only_problem(write_setup(f'[[{table}]]\nname = "left side"\n'))
    assert problem.found == f"the key {table} is not known"
    assert cure in problem.cure
    assert "rack" not in problem.cure


@pytest.mark.identity
def test_fixture_takes_every_default_of_the_contract(write_setup: WriteSetup) -> None:
    """Rotation 0, enabled, output scale 1."""
    (fixture,) = read_setup(write_setup()).fixtures
    assert (fixture.x_m, fixture.y_m, fixture.height_m) == (0.22, 0.22, 0.20)
    assert (fixture.rotation_deg, fixture.enabled, fixture.output_scale) == (0.0, True, 1.0)
    assert fixture.programme.span_h == (8.0, 18.0)


@pytest.mark.identity
def test_every_given_key_of_tank_and_water_is_taken(write_setup: WriteSetup) -> None:
    """What is written replaces the default, each key once."""
    setup_text = (
        write_setup()
        .read_text()
        .replace(
            'water_depth = "40 cm"',
            'water_depth = "40 cm"\nglass_thickness = "12 mm"\nglass_index = 1.49\nrim = "3 cm"\n'
            'floor_reflectance = 0\nwalls = { back = "painted", right = "dark", left = 0.25 }\n'
            "[water]\nyellowing_440_per_m = 0.5\nyellowing_slope_per_nm = 0.02\nrefractive_index = 1.33\n"
            "[cover]\ntransmittance = 0.9\n[electricity]\nprice_per_kwh = 0.3\ncurrency = 'EUR'\n"
            "[uncertainty]\nheight_cm = 2\nflux_common_fraction = 0.2",
        )
    )
    setup = read_setup(write_setup(setup=setup_text))
    assert (setup.tank.glass_thickness_m, setup.tank.glass_index, setup.tank.rim_m) == (0.012, 1.49, 0.03)
    assert setup.tank.floor_reflectance == 0
    assert dict(setup.tank.walls) == {
        "front": Wall("clean"),
        "back": Wall("painted"),
        "left": Wall("reflectance", 0.25),
        "right": Wall("dark"),
    }
    assert (setup.water.yellowing_440_per_m, setup.water.yellowing_slope_per_nm) == (0.5, 0.02)
    assert setup.water.refractive_index == 1.33
    assert setup.cover.transmittance == 0.9
    assert setup.electricity is not None
    assert (setup.electricity.price_per_kwh, setup.electricity.currency) == (0.3, "EUR")
    assert dict(setup.uncertainty) == {"height_cm": 2, "flux_common_fraction": 0.2}


@pytest.mark.identity
def test_files_of_water_and_cover_are_read_beside_the_setup(write_setup: WriteSetup) -> None:
    """absorption replaces pure water; a cover may be a spectrum."""
    path = write_setup(
        '[water]\nabsorption = "water.csv"\n[cover]\ntransmittance = "cover.csv"\n',
        water__csv="wavelength_nm,absorption_per_m\n380,0.1\n750,2.5\n",
        cover__csv="wavelength_nm,transmittance\n380,0.5\n750,0.9\n",
    )
    setup = read_setup(path)
    assert setup.water.absorption is not None
    assert setup.water.absorption.values.tolist() == [0.1, 2.5]
    assert setup.cover.transmittance.values.tolist() == [0.5, 0.9]  # type: ignore[union-attr]
    assert {Path(name).name for name in setup.inputs_sha256} >= {"water.csv", "cover.csv"}


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("table", "text", "found"),
    [
        (
            "[water]\nabsorption",
            "absorption_per_m\n400,0.1\n700,2.5\n",
            "the table runs from 400",
        ),
        (
            "[water]\nabsorption",
            "absorption_per_m\n380,-1\n750,2.5\n",
            "-1 is outside 0 to 1000",
        ),
        ("[water]\nabsorption", "absorbance\n380,1\n750,2.5\n", "the columns are"),
        ("[cover]\ntransmittance", "transmittance\n380,50\n750,90\n", "50 is outside 0 to 1"),
    ],
)
def test_file_of_water_or_cover_outside_its_range_is_refused(
    write_setup: WriteSetup, table: str, text: str, found: str
) -> None:
    """absorption_per_m over 380-750 nm, not negative; a transmittance is a fraction."""
    path = write_setup(f'{table} = "own.csv"\n', own__csv=f"wavelength_nm,{text}")
    problem = problems_of(path)[0]
    assert problem.found.startswith(found)
    assert problem.place is not None
    assert problem.place.file.endswith("own.csv")
    assert problem.cure == ("write 0.5 for 50 %" if found.startswith("50") else "")


@pytest.mark.identity
def test_fixture_beside_the_water_is_said_not_refused(write_setup: WriteSetup) -> None:
    """A lamp that shines in from the side is unusual, and computed."""
    text = write_setup().read_text().replace('{ x = "22 cm"', '{ x = "-5 cm"')
    setup = read_setup(write_setup(setup=text))
    assert setup.understood[-1] == "fixture left hangs beside the water, not above it: x -5 cm, y 22 cm"


@pytest.mark.identity
@pytest.mark.parametrize(
    ("x", "height", "side"),
    [
        ("-0.5 cm", "5 cm", "left"),
        ("75.5 cm", "5 cm", "right"),
        ("-5 cm", "5 cm", None),
        ("-0.5 cm", "10 cm", None),
        ("22 cm", "5 cm", None),
    ],
)
def test_point_lamp_in_the_glass_of_the_rim_is_refused(
    write_setup: WriteSetup, x: str, height: str, side: str | None
) -> None:
    """Between the faces of a pane no lamp can stand; above the rim and beside the glass it can."""
    text = write_setup().read_text().replace('x = "22 cm", y = "22 cm"', f'x = "{x}", y = "22 cm"')
    text = text.replace('height = "20 cm"', f'height = "{height}"').replace("[tank]", '[tank]\nrim = "10 cm"')
    path = write_setup(setup=text)
    if side is None:
        assert read_setup(path).tank.rim_m == 0.1
    else:
        problem = problems_of(path)[0]
        assert problem.found == f"fixture[1] 'left' at: its light stands inside the {side} pane"
        assert problem.place is not None
        assert problem.place.line > 1


@pytest.mark.identity
@pytest.mark.parametrize(
    ("glass", "water", "found", "line"),
    [
        ("1.33", "", "tank glass_index: 1.33 is below the water's 1.34", 4),
        ("1.4", "1.45", "tank glass_index: 1.4 is below the water's 1.45", 4),
        ("1.34", "", None, 0),
        ("1.45", "1.45", None, 0),
        ("", "1.5", None, 0),
    ],
)
def test_glass_less_dense_than_the_water_is_refused(
    write_setup: WriteSetup, glass: str, water: str, found: str | None, line: int
) -> None:
    """Light in the water would be shut out of such a pane, where its mirror image is none; equal is fine."""
    text = write_setup().read_text()
    if glass:
        text = text.replace("[tank]", f"[tank]\nglass_index = {glass}")
    path = write_setup(f"[water]\nrefractive_index = {water}\n" if water else "", setup=text)
    if found is None:
        setup = read_setup(path)
        with pytest.raises(SetupError, match="is below the water's"):
            replace(setup, tank=replace(setup.tank, glass_index=setup.water.refractive_index - 0.01))
    else:
        (problem,) = problems_of(path)
        assert problem.found == found
        assert problem.allowed == f"from {water or '1.34'} (water.refractive_index)"
        assert problem.place is not None
        assert problem.place.line == line


@pytest.mark.identity
@pytest.mark.parametrize("height", ["0 cm", "-5 cm"])
def test_fixture_in_the_water_is_refused_as_such(write_setup: WriteSetup, height: str) -> None:
    """The sentence says where it hangs, and the range leaves 0 out."""
    path = write_setup(setup=write_setup().read_text().replace('height = "20 cm"', f'height = "{height}"'))
    problem = problems_of(path)[0]
    assert problem.found == f"fixture[1] 'left' height: \"{height}\" is not above the water"
    assert problem.allowed == "above 0 cm to 2000 cm"


@pytest.mark.identity
@pytest.mark.parametrize(
    ("length", "unit", "metres"),
    [
        ("75 cm", "cm", 0.75),
        ("24 in", "in", 0.6096),
        ("2 ft", "in", 0.6096),
        ('24"', "in", 0.6096),
        ("0,61 m", "cm", 0.61),
    ],
)
def test_length_unit_follows_the_length_of_the_tank(
    write_setup: WriteSetup, length: str, unit: str, metres: float
) -> None:
    """Inches and feet make later tables inches; the conversion is echoed."""
    text = write_setup().read_text().replace('"75 cm"', f"'{length}'")
    setup = read_setup(write_setup(setup=text))
    assert setup.length_unit == unit
    assert setup.tank.length_m == metres
    assert setup.understood[0].startswith(f"tank {length} x 45 cm x 40 cm")
    assert ("-> 61 cm x 45 cm x 40 cm" in setup.understood[0]) == (length != "75 cm")


@pytest.mark.identity
def test_height_in_inches_is_echoed_converted(write_setup: WriteSetup) -> None:
    """What was written and what it was read as; a fixture that is off says so."""
    text = write_setup().read_text().replace('height = "20 cm"', 'height = "8 in"') + "enabled = false\n"
    said = read_setup(write_setup(setup=text)).understood[-2]
    assert "8 in -> 20.3 cm above the water, not enabled; " in said


@pytest.mark.identity
def test_inputs_are_hashed_under_their_absolute_names(write_setup: WriteSetup) -> None:
    """Every file that was read stands with the hash of its bytes."""
    path = write_setup()
    found = read_setup(path).inputs_sha256
    assert set(found) == {str(path.parent / n) for n in ("setup.toml", "panel.toml", "daily.csv")}
    for name, value in found.items():
        assert value == hashlib.sha256(Path(name).read_bytes()).hexdigest()


@pytest.mark.identity
def test_folder_with_a_setup_stands_for_it(write_setup: WriteSetup) -> None:
    """`lightdose dose my-tank` means my-tank/setup.toml."""
    path = write_setup()
    assert read_setup(path.parent).title == read_setup(path).title


@pytest.mark.identity
def test_example_reads_without_problems_and_says_what_it_understood() -> None:
    """The shipped example: two fixtures of six channels, twelve sites, nine corals of eight groups."""
    setup = read_setup(EXAMPLE / "setup.toml")
    assert [len(f.type.channels) for f in setup.fixtures] == [6, 6]
    assert (len(setup.sites), len(setup.corals)) == (12, 9)
    assert len({c.group for c in setup.corals}) >= 6
    assert "invented" in setup.title
    assert setup.understood[0] == "tank 75 cm x 45 cm x 40 cm"
    assert any("08:30 to 21:00" in sentence and "separator ','" in sentence for sentence in setup.understood)
    assert setup.understood[-1] == "12 sites, 9 corals"
    assert setup.fixtures[0].type.channels[0].place is not None
    assert setup.fixtures[0].type.channels[0].place.line == 20


# ---- variations -----------------------------------------------------------------------------------------


@pytest.mark.identity
def test_variations_change_all_fixtures_and_nothing_else(write_setup: WriteSetup) -> None:
    """Height, fixture file and schedule, each for every fixture."""
    path = write_setup(
        AGAIN.replace("left", "right").replace("9 cm", "30 cm"),
        night__csv="time,blue,white\n20:00,5,0\n02:00+1,5,0\n",
        other__toml='format = "lightdose-fixture/1"\nname = "other"\n'
        '[[channel]]\nname = "white"\nspectrum = { library = "white-led-b3" }\n'
        '[[channel]]\nname = "blue"\nspectrum = { library = "blue-445" }\n',
    )
    higher = read_setup(path, Variations(fixture_height_m=0.25))
    assert [f.height_m for f in higher.fixtures] == [0.25, 0.25]
    later = read_setup(path, Variations(schedule=path.parent / "night.csv"))
    assert [f.programme.span_h for f in later.fixtures] == [(20.0, 26.0)] * 2
    swapped = read_setup(path, Variations(swap_fixture=path.parent / "other.toml"))
    assert [f.type.name for f in swapped.fixtures] == ["other", "other"]
    assert [f.height_m for f in swapped.fixtures] == [0.20, 0.30]
    assert str(path.parent / "panel.toml") not in swapped.inputs_sha256


@pytest.mark.pinned
def test_swapped_fixture_must_fit_the_programme(write_setup: WriteSetup) -> None:
    """A programme for other channels is refused with the known ones."""
    path = write_setup(
        other__toml='format = "lightdose-fixture/1"\nname = "other"\n'
        '[[channel]]\nname = "uv"\nspectrum = { library = "violet-405" }\n',
    )
    problems = problems_of(path, Variations(swap_fixture=path.parent / "other.toml"))
    assert any("blue" in p.found for p in problems)
    assert all(p.place is not None and p.place.file.endswith("daily.csv") for p in problems)


@pytest.mark.pinned
def test_variation_with_a_missing_file_is_named(write_setup: WriteSetup) -> None:
    """A typo behind --schedule is a sentence."""
    (problem,) = problems_of(write_setup(), Variations(schedule=Path("nowhere.csv")))
    assert problem.found == 'no file "nowhere.csv"'


# ---- problems -------------------------------------------------------------------------------------------


@pytest.mark.identity
def test_problems_of_every_file_are_named_in_one_run_sorted(write_setup: WriteSetup) -> None:
    """Setup, fixture, schedule, both CSV files and groups are all read, however many have problems."""
    setup = write_setup().read_text()
    path = write_setup(
        '[[site]]\nname = "deep"\nat = { x = "4 cm", y = "4 cm", depth = "55 cm" }\n'
        '[[coral]]\nname = "c"\ngroup = "nothing"\nsite = "deep"\n',
        setup='corals = "corals.csv"\nsites = "sites.csv"\ngroups = "groups.toml"\n'
        + setup.replace("glass", "glas").replace('width = "45 cm"', 'width = "45"'),
        fixture='format = "lightdose-fixture/1"\nname = "p"\n[[channel]]\nname = "blue"\n'
        "spectrum = { peak_nm = 4450, fwhm_nm = 20 }\n",
        schedule="time,blue\n08:00,0\n0900,60\n",
        corals__csv="coral,group,site\nx,sps-shallow,nowhere\n",
        sites__csv="site,x_cm,y_cm,depth_cm\ns,10,10,1o\n",
        groups__toml='[group.mine]\nlike = "unknown"\n',
    )
    problems = problems_of(path)
    files = [Path(p.place.file).name for p in problems if p.place]
    assert set(files) == {"setup.toml", "panel.toml", "daily.csv", "sites.csv", "groups.toml"}
    assert files == sorted(files)
    assert len(files) == len(problems)


@pytest.mark.identity
def test_unread_sites_file_makes_no_coral_lose_its_site(write_setup: WriteSetup) -> None:
    """A coral at a site of a CSV file that cannot be read is no second problem."""
    path = write_setup(
        '[[coral]]\nname = "c"\ngroup = "sps-shallow"\nsite = "s"\n',
        setup='sites = "sites.csv"\n' + write_setup().read_text(),
    )
    assert [p.found for p in problems_of(path)] == ['no file "sites.csv"']


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("old", "new", "place", "found", "cure"),
    [
        (
            'length = "75 cm"',
            'lenght = "75 cm"',
            "4:1",
            "tank: the key lenght is not known",
            "did you mean length?",
        ),
        ('length = "75 cm"', "", "3:1", "tank: the key length is missing", 'add length = "75 cm"'),
        (
            'length = "75 cm"',
            'length = "75"',
            "4:10",
            'tank length: "75" has no unit',
            'write "75 cm" or "75 in"',
        ),
        (
            'length = "75 cm"',
            "length = 75",
            "4:10",
            "tank length: 75 has no unit",
            'write "75 cm" or "75 in", in quotes',
        ),
        ('length = "75 cm"', "length = true", "4:10", "tank length: true is not a length", ""),
        ('length = "75 cm"', 'length = "75 m"', "4:10", 'tank length: "75 m" is outside the range', ""),
        (
            'length = "75 cm"',
            'length = "75 cn"',
            "4:10",
            'tank length: "75 cn" has the unknown unit "cn"',
            'for example "61 cm"',
        ),
        (
            "[[fixture]]",
            "glass_index = '1.5'\n[[fixture]]",
            "7:15",
            'tank glass_index: "1.5" is not a number',
            "write 1.5, without quotation marks",
        ),
        (
            "[[fixture]]",
            "glass_index = true\n[[fixture]]",
            "7:15",
            "tank glass_index: true is not a number",
            "",
        ),
        (
            "[[fixture]]",
            "glass_index = nan\n[[fixture]]",
            "7:15",
            "tank glass_index: nan is not a finite number",
            "",
        ),
        (
            "[[fixture]]",
            "glass_index = inf\n[[fixture]]",
            "7:15",
            "tank glass_index: inf is not a finite number",
            "",
        ),
        (
            "[[fixture]]",
            "glass_index = 3\n[[fixture]]",
            "7:15",
            "tank glass_index: 3 is outside the range",
            "",
        ),
        (
            "[[fixture]]",
            'walls = { back = "paint" }\n[[fixture]]',
            "7:18",
            'tank walls back: "paint" is not known here',
            "did you mean painted?",
        ),
        (
            "[[fixture]]",
            "walls = { back = 1.5 }\n[[fixture]]",
            "7:18",
            "tank walls back: 1.5 is outside the range",
            "",
        ),
        (
            "[[fixture]]",
            "walls = { top = 1 }\n[[fixture]]",
            "7:11",
            "tank walls: the key top is not known",
            "",
        ),
        (
            "[[fixture]]",
            "[cover]\ntransmittance = 90\n[[fixture]]",
            "8:17",
            "cover transmittance: 90 is outside the range",
            "write 0.9 for 90 %",
        ),
        (
            "[[fixture]]",
            "[cover]\ntransmittance = true\n[[fixture]]",
            "8:17",
            "cover transmittance: true is not a transmittance",
            "",
        ),
        (
            "[[fixture]]",
            "[uncertainty]\nheigth_cm = 1\n[[fixture]]",
            "8:1",
            "uncertainty: the key heigth_cm is not known",
            "did you mean height_cm?",
        ),
        (
            "[[fixture]]",
            "[electricity]\nprice_per_kwh = 0.3\n[[fixture]]",
            "7:1",
            "electricity: the key currency is missing",
            'add currency = "EUR"',
        ),
        ("[[fixture]]", "[fixture]", "7:1", "fixture: one pair of brackets", "write [[fixture]]"),
        (
            "[tank]",
            "[[tank]]",
            "3:1",
            "tank: a list [ ... ] is not a table",
            "write it as a table of its own: [tank]",
        ),
        (
            'name = "left"',
            'name = "a\\nb"',
            "8:8",
            "fixture[1] 'a\\nb' name: the text holds a line break or a control character",
            "",
        ),
        ('name = "left"', "name = 1", "8:8", "fixture[1] name: 1 is not text", 'write "1"'),
        ('"20 cm" }', '"-1 cm" }', "10:43", "fixture[1] 'left' height: \"-1 cm\" is not above the water", ""),
        ('"20 cm" }', '"0 cm" }', "10:43", "fixture[1] 'left' height: \"0 cm\" is not above the water", ""),
        (
            'schedule = "daily.csv"',
            "schedule = 3",
            "11:12",
            "fixture[1] 'left' schedule: 3 is no schedule",
            "",
        ),
        (
            'schedule = "daily.csv"',
            'schedule = "dayly.csv"',
            "11:12",
            'no file "dayly.csv"',
            "did you mean daily.csv?",
        ),
        (
            'schedule = "daily.csv"',
            "",
            "7:1",
            "fixture[1] 'left': the key schedule is missing",
            'add schedule = "schedules/daily.csv"',
        ),
        (
            'schedule = "daily.csv"',
            'schedule = "daily.csv"\nenabled = 1',
            "12:11",
            "fixture[1] 'left' enabled: 1 is neither true nor false",
            "",
        ),
        (
            'schedule = "daily.csv"',
            'schedule = "daily.csv"\noutput_scale = 0',
            "12:16",
            "fixture[1] 'left' output_scale: 0 is outside the range",
            "",
        ),
        (
            'type = "panel.toml"',
            'type = "setup.toml"',
            "1:10",
            'this is a "lightdose-setup/1" file, not a lightdose-fixture file',
            "",
        ),
        ('type = "panel.toml"', 'type = "."', "9:8", '"." is a folder', ""),
        ("[tank]", "[tonk]", "3:2", "the key tonk is not known", "did you mean tank?"),
        ('title = "Test tank (invented)"', 'title = "  "', "2:9", "title: the text is empty", ""),
        (
            'title = "Test tank (invented)"',
            'title = "T"\nsites = [{ name = "a" }]',
            "3:9",
            "sites: this key names a file",
            "write [[site]] for tables",
        ),
        (
            'title = "Test tank (invented)"',
            'title = "T"\ncalibration = "c.toml"',
            "3:15",
            'no file "c.toml"',
            "did you mean setup.toml?",
        ),
        (
            'title = "Test tank (invented)"',
            'title = "T"\ncoral = "corals.csv"',
            "3:9",
            'coral: "corals.csv" is not a list of tables',
            "write [[coral]]",
        ),
        (
            "lightdose-setup/1",
            "lightdose-setup/2",
            "1:10",
            'format "lightdose-setup/2" is another version',
            "",
        ),
        (
            "lightdose-setup/1",
            "lightdose-fixture/1",
            "1:10",
            'this is a "lightdose-fixture/1" file, not a lightdose-setup file',
            "",
        ),
        (
            "lightdose-setup/1",
            "toml",
            "1:10",
            'format "toml" is not known here',
            'write format = "lightdose-setup/1" in the first line',
        ),
        (
            'format = "lightdose-setup/1"',
            "",
            "1",
            "the key format is missing",
            'write format = "lightdose-setup/1" in the first line',
        ),
    ],
)
def test_one_slip_is_one_problem_at_its_place(
    write_setup: WriteSetup, old: str, new: str, place: str, found: str, cure: str
) -> None:
    """Where, what was found, and how to mend it, for each kind of slip."""
    text = write_setup().read_text()
    assert old in text
    problem = only_problem(write_setup(setup=text.replace(old, new, 1)))
    assert problem.found == found
    assert str(problem.place).endswith(f"setup.toml:{place}")
    assert problem.cure == cure


@pytest.mark.pinned
def test_setup_without_fixture_is_told_to_add_one(write_setup: WriteSetup) -> None:
    """Without light there is nothing to compute."""
    problem = only_problem(write_setup(setup=write_setup().read_text().partition("[[fixture]]")[0]))
    assert (problem.found, problem.cure) == ("the key fixture is missing", "add tables [[fixture]]")


@pytest.mark.pinned
def test_problem_of_the_style_guide_reads_as_it_says(write_setup: WriteSetup, tmp_path: Path) -> None:
    """Place, subject, value, caret and the allowed range with the key it comes from."""
    path = write_setup('[[site]]\nname = "ridge top"\nat = { x = "40 cm", y = "20 cm", depth = "55 cm" }\n')
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    assert str(caught.value) == (
        f"{tmp_path}/setup.toml:14:42: site[1] 'ridge top' depth: \"55 cm\" is below the floor\n"
        '    at = { x = "40 cm", y = "20 cm", depth = "55 cm" }\n'
        "                                             ^\n"
        "    allowed: 0 to 40 cm (tank.water_depth)"
    )


@pytest.mark.identity
def test_more_channels_than_the_limit_are_refused(write_setup: WriteSetup) -> None:
    """200 channels in all, whatever the number of fixtures."""
    fixture = 'format = "lightdose-fixture/1"\nname = "wide"\n' + "".join(
        f'[[channel]]\nname = "c{n}"\nspectrum = {{ peak_nm = 445, fwhm_nm = 20 }}\n' for n in range(101)
    )
    names = ",".join(f"c{n}" for n in range(101))
    zeros = ",".join(["5"] * 101)
    schedule = f"time,{names}\n08:00,{zeros}\n09:00,{zeros}\n"
    again = AGAIN.replace("left", "right")
    assert len(read_setup(write_setup(fixture=fixture, schedule=schedule)).fixtures[0].type.channels) == 101
    problem = only_problem(write_setup(again, fixture=fixture, schedule=schedule))
    assert problem.found == "fixture: the fixtures have 202 channels"
    assert problem.allowed == "up to 200 in all"


@pytest.mark.identity
def test_fixture_names_stand_once(write_setup: WriteSetup) -> None:
    """Two fixtures of one name cannot be told apart in results."""
    assert (
        only_problem(write_setup(AGAIN)).found == "fixture[2] 'left' name: \"left\" names fixture 1 already"
    )


# ---- schedules inline -----------------------------------------------------------------------------------

INLINE = 'schedule = { "blue" = [["08:00", 0], ["20:00", 60]], "white" = [["08:00", 0], ["20:00", 0]] }'


@pytest.mark.identity
def test_inline_schedule_equals_the_same_points_in_a_file(write_setup: WriteSetup) -> None:
    """Points written in the setup are the programme of the file."""
    text = write_setup().read_text().replace('schedule = "daily.csv"', INLINE)
    (inline,) = read_setup(write_setup(setup=text)).fixtures
    (filed,) = read_setup(write_setup(schedule="time,blue,white\n08:00,0,0\n20:00,60,0\n")).fixtures
    for name in ("blue", "white"):
        assert (
            inline.programme.channels[name].time_h.tolist() == filed.programme.channels[name].time_h.tolist()
        )
        assert inline.programme.channels[name].level.tolist() == filed.programme.channels[name].level.tolist()


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("old", "new", "column", "found"),
    [
        ('["20:00", 60]', '["0730", 60]', 39, '"0730" has no colon'),
        ('["20:00", 60]', '["07:00", 60]', 38, '"07:00" comes after "08:00"'),
        ('["20:00", 60]', '["20:00", 160]', 48, "the level 160 is out of range"),
        ('["20:00", 60]', "[20.0, 60]", 39, "20.0 is a bare number, not a time"),
        ('["20:00", 60]', "5", 38, "5 is not a point"),
        ('"white" =', '"whitish" =', 54, 'the fixture has no channel "whitish"'),
        (
            '[["08:00", 0], ["20:00", 0]]',
            "3",
            64,
            "fixture[1] 'left' schedule white: 3 is not a list of points",
        ),
    ],
)
def test_slip_in_an_inline_schedule_stands_at_its_point(
    write_setup: WriteSetup, old: str, new: str, column: int, found: str
) -> None:
    """The place of a problem is the point, inside the list, inside the table."""
    text = write_setup().read_text().replace('schedule = "daily.csv"', INLINE.replace(old, new))
    problems = problems_of(write_setup(setup=text))
    assert any(
        p.found.startswith(found) and p.place is not None and (p.place.line, p.place.column) == (11, column)
        for p in problems
    ), [str(p) for p in problems]


@pytest.mark.identity
def test_schedule_of_an_unreadable_fixture_is_still_checked(write_setup: WriteSetup) -> None:
    """A slip in the fixture file does not hide one in the schedule."""
    path = write_setup(fixture="format = 3\n", schedule="time,blue\n08:00,0\n09:00,200\n")
    found = {Path(p.place.file).name for p in problems_of(path) if p.place}
    assert found == {"panel.toml", "daily.csv"}


@pytest.mark.identity
def test_copy_in_a_folder_with_odd_letters_reads_the_same(tmp_path: Path) -> None:
    """Blanks, umlauts and brackets in the path change nothing."""
    folder = tmp_path / "Größe [x] und ü"
    shutil.copytree(EXAMPLE, folder)
    assert len(read_setup(folder / "setup.toml").sites) == 12


ODD = [
    "true", "-1", "1e400", "nan", "[]", "{}", "[1]", "[[0, 1]]", "{ a = 1 }", '""', '"\\u0000"', "0",
    "07:32:00", '"24 in"', '"-3 cm"', "9" * 30, "[{}]", '"x"',
    '"setup.toml"', '".."', '"/dev/null"', '"a\\nb"', '{ file = "x" }',
    "08:00", "50%",
    "",
]  # fmt: skip
PIECES = re.compile(r'= *("[^"]*"|[\d.]+|\[.*\]|\{.*\}|true)')
EXAMPLE_LINES = {
    name: [n for n, line in enumerate((EXAMPLE / name).read_text().splitlines()) if PIECES.search(line)]
    for name in ("setup.toml", "fixtures/demo-panel.toml")
}


@pytest.mark.identity
@given(
    slips=st.lists(
        st.tuples(
            st.sampled_from(sorted(EXAMPLE_LINES)), st.integers(0, 10**6), st.sampled_from(ODD), st.booleans()
        ),
        min_size=1,
        max_size=4,
    )
)
def test_spoilt_example_is_refused_in_sentences_with_places(
    slips: list[tuple[str, int, str, bool]], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Whatever stands where, reading ends in a setup or in problems with places, in our words."""
    folder = tmp_path_factory.mktemp("tank") / "copy"
    shutil.copytree(EXAMPLE, folder)
    for name, number, value, drop in slips:
        lines = (folder / name).read_text().splitlines()
        at = EXAMPLE_LINES[name][number % len(EXAMPLE_LINES[name])]
        found = PIECES.search(lines[at])
        if found is not None:
            lines[at] = "" if drop else f"{lines[at][: found.start()]}= {value}{lines[at][found.end() :]}"
        (folder / name).write_text("\n".join(lines))
    for problem in problems_if_any(folder / "setup.toml"):
        assert problem.place is not None, problem
        words = f"{problem.found} {problem.allowed} {problem.cure}".lower()
        assert not re.search(r"\b(invalid|error|please|input should)\b|!", words), words


def problems_if_any(path: Path) -> tuple[Problem, ...]:
    try:
        read_setup(path)
    except SetupError as refusal:
        return refusal.problems
    return ()


@pytest.mark.identity
def test_thousands_of_like_problems_are_cut_with_their_number(write_setup: WriteSetup) -> None:
    """A screen is enough; the number of the rest is told."""
    sites = "".join(
        f'[[site]]\nname = "s{n}"\nat = {{ x = "1", y = "1 cm", depth = "1 cm" }}\n' for n in range(500)
    )
    problems = problems_of(write_setup(sites))
    assert len(problems) == 101
    assert problems[-1].found == "and 400 more problems below"
