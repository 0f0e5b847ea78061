"""What fuzzing found, each as one case that did not end well before."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from cli.small_tanks import write_tank as small_tank
from misuse.ending import assert_ends_well, contents, run_alone, run_here
from misuse.every_file import FILES, changed_once, write_tank
from misuse.extreme_tanks import METER
from misuse.fuzz import assert_makes_sense

SPACES = ["\u0085", "\u00a0", "\u2009", "\u202f", "\u3000", "\u2028"]


@pytest.mark.identity
@pytest.mark.parametrize("space", SPACES, ids=lambda s: f"U+{ord(s):04X}")
def test_space_beside_a_level_is_no_part_of_it(
    space: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before and behind a number any space is passed over, by the check and by the number alike."""
    plain, odd = write_tank(tmp_path / "plain"), tmp_path / "odd"
    write_tank(odd, changed_once("left.csv", "10:00,60,40", f"10:00,{space}60{space},40{space}"))
    doses = []
    for folder in (plain, odd):
        monkeypatch.chdir(folder)
        ending = run_here(["dose", "setup.toml", "--json"])
        assert_ends_well(ending, codes=(0,))
        doses.append([site["dli_mol_m2_d"] for site in json.loads(ending.out)["sites"]])
    assert doses[0] == doses[1]


LONG = "9" * 5000
ENDLESS: dict[str, tuple[str, str, str]] = {
    "hexadecimal": ("setup.toml", "floor_reflectance = 0.0", f"floor_reflectance = 0x{'f' * 5000}"),
    "octal": ("setup.toml", "floor_reflectance = 0.0", f"floor_reflectance = 0o{'7' * 5000}"),
    "exponent": ("left.csv", "10:00,60,", f"10:00,1e-{LONG},"),
    "seconds": ("left.csv", "10:00,", f"10:00:00.{'0' * 4400},"),
    "hours": ("left.csv", "10:00,", f"{LONG}:00,"),
}


@pytest.mark.identity
@pytest.mark.parametrize("what", ENDLESS)
def test_endless_digits_are_refused_in_a_short_message(
    what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Digits beyond what the interpreter turns into a number: one message with its line."""
    name, old, new = ENDLESS[what]
    monkeypatch.chdir(write_tank(tmp_path / "tank", changed_once(name, old, new)))
    ending = run_here(["dose", "setup.toml"])
    assert_ends_well(ending, codes=(2,))
    assert f"{name}:" in ending.told
    assert len(ending.told) < 4000


@pytest.mark.identity
def test_no_line_of_a_message_is_endless(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A cell of 50,000 letters with blanks between is cut, and so is what an option says."""
    words = "word " * 10_000
    monkeypatch.chdir(write_tank(tmp_path / "tank", changed_once("left.csv", "10:00,60,", f"10:00,{words},")))
    for line in (["dose", "setup.toml"], ["dose", "setup.toml", "--jobs", words]):
        ending = run_here(line)
        assert_ends_well(ending, codes=(2,))
        assert max(map(len, ending.told.split("\n"))) <= 2100


EXTREME: dict[str, dict[str, str]] = {
    "intensity of 1e308": changed_once("beam.ies", "100 80 30 0", "1e308 80 30 0"),
    "intensity of 1e-320": changed_once("beam.ies", "100 80 30 0", "1e-320 0 0 0"),
    "yellowing of 50": changed_once("setup.toml", "yellowing_440_per_m = 0.1", "yellowing_440_per_m = 50"),
    "glass as the water": changed_once("setup.toml", 'rim = "0 cm"', 'rim = "0 cm"\nglass_index = 1.34'),
    "mirrors of 5e-324": changed_once("setup.toml", "right = 0.0", "right = 5e-324"),
}


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("what", EXTREME)
def test_extreme_but_allowed_value_is_answered_without_a_word_of_a_library(
    what: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No warning, no NaN, no dose below zero, no interval whose ends are swapped."""
    monkeypatch.chdir(write_tank(tmp_path / "tank", EXTREME[what]))
    for command in ("dose", "compare"):
        more = ("--fixture-height", "1 cm") if command == "compare" else ()
        ending = run_here([command, "setup.toml", *more, "--json"])
        assert_ends_well(ending)
        if ending.code == 0:
            assert_makes_sense(json.loads(ending.out))


WELL = """\
format = "lightdose-setup/1"
title = "narrow (invented)"
sites = "sites.csv"
[tank]
length = "1 cm"
width = "2 cm"
water_depth = "40 cm"
[[fixture]]
name = "panel"
type = "lamp.toml"
at = { x = "0.5 cm", y = "1 cm", height = "3 cm" }
schedule = { blue = [["08:00", 0], ["09:00", 60], ["17:00", 60], ["18:00", 0]] }
"""
PANEL = """\
format = "lightdose-fixture/1"
name = "panel (invented)"
aperture = { length = "30 cm", width = "30 cm" }
[[channel]]
name = "blue"
spectrum = { peak_nm = 450, fwhm_nm = 18 }
photon_flux_umol_s = 40
"""


@pytest.mark.identity
@pytest.mark.skipif(os.name == "nt", reason="memory is asked from a POSIX system")
@pytest.mark.parametrize(
    ("length", "width", "depth", "height", "code"),
    [
        ("1 cm", "2 cm", "40 cm", "3 cm", 2),
        ("1 cm", "2 cm", "40 cm", "2 m", 0),
        ("565 cm", "1.2 cm", "3 cm", "5 m", 0),
    ],
)
def test_tank_of_too_many_rays_is_refused_with_the_limit(
    length: str, width: str, depth: str, height: str, code: int, tmp_path: Path
) -> None:
    """A low panel over a narrow well: a refusal at once; what can be computed is, under 1 GB and 20 s."""
    text = WELL.replace('"1 cm"', f'"{length}"', 1).replace('"2 cm"', f'"{width}"', 1)
    text = text.replace('"40 cm"', f'"{depth}"').replace('height = "3 cm"', f'height = "{height}"')
    tank = tmp_path / "tank"
    tank.mkdir()
    for name, content in {
        "setup.toml": text,
        "lamp.toml": PANEL,
        "sites.csv": "site,x_cm,y_cm,depth_cm\na,0.5,1,2\n",
    }.items():
        (tank / name).write_text(content, encoding="utf-8")
    ending = run_alone(("dose", "setup.toml", "--json"), tank)
    assert_ends_well(ending, codes=(code,))
    assert ("at most 1,000,000 to a place" in ending.told) == (code == 2)


@pytest.mark.identity
@pytest.mark.parametrize("command", ["spectrum blue-450", "dose other.toml", "hazard other.toml"])
def test_result_replaces_no_setup_and_no_file_that_nobody_named(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither a TOML file of the keeper's, read or not, nor a JSON of another kind beside the CSV."""
    tank = write_tank(tmp_path / "tank")
    shutil.copy(tank / "setup.toml", tank / "other.toml")
    (tank / "my.schema.json").write_text('{"mine": 1}', encoding="utf-8")
    monkeypatch.chdir(tank)
    before = contents(tank)
    for target in ("setup.toml", "lamp.toml", "my-groups.toml", "calibration.toml", "my.csv"):
        assert_ends_well(run_here([*command.split(), "--csv", target]), codes=(2,))
    assert contents(tank) == before
    for _ in range(2):  # its own schema of before is replaced
        assert_ends_well(run_here([*command.split(), "--csv", "own.csv"]), codes=(0,))


OURS_OR_NOT: dict[str, str] = {
    "results.csv": "dose setup.toml --csv results.csv",
    "spectrum.csv": "spectrum blue-450 --csv spectrum.csv",
    "page.html": "report setup.toml -o page.html --date 2026-03-14",
    "slip.pdf": "slip setup.toml tip -o slip.pdf --date 2026-03-14",
    "figures/spectra-compared.svg": "spectrum blue-450 --figures figures",
    "figures/spectra-compared.png": "spectrum blue-450 --figures figures",
    "round.csv": "note setup.toml --sheet -o round.html",
    "sheet-readings.csv": "survey setup.toml -o sheet.html",
    "all.html": "guide --html all.html",
}


@pytest.mark.identity
@pytest.mark.parametrize("name", OURS_OR_NOT)
def test_result_replaces_what_lightdose_wrote_and_nothing_else_unasked(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A result of before gives way; a file that somebody else wrote stays until --replace is said."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    words = OURS_OR_NOT[name].split()
    assert_ends_well(run_here(words), codes=(0,))
    made = Path(name).read_bytes()
    assert_ends_well(run_here(words), codes=(0,))
    Path(name).write_bytes(b"time,white\n08:00,0\n18:00,50\n")
    ending = run_here(words)
    assert_ends_well(ending, codes=(2,))
    assert f"{name}: is there already" in ending.told
    assert "--replace" in ending.told
    assert Path(name).read_bytes() == b"time,white\n08:00,0\n18:00,50\n"
    assert_ends_well(run_here([*words, "--replace"]), codes=(0,))
    assert Path(name).read_bytes() == made


@pytest.mark.identity
def test_table_replaces_one_of_the_same_columns_and_no_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who tunes again gets the new programme; a table of other columns in its place stays."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    words = ["dose", "setup.toml", "--all-channels", "50", "--csv-schedule", "out"]
    assert_ends_well(run_here(words), codes=(0,))
    before = contents(Path("out"))
    words[3] = "60"
    assert_ends_well(run_here(words), codes=(0,))
    assert contents(Path("out")) != before
    name = next(Path("out").glob("*.csv"))
    name.write_bytes(b"coral,site\nhammer,A1\n")
    assert_ends_well(run_here(words), codes=(2,))
    assert name.read_bytes() == b"coral,site\nhammer,A1\n"
    assert_ends_well(run_here([*words, "--replace"]), codes=(0,))
    table = ["dose", "setup.toml", "--csv", "d.csv"]
    assert_ends_well(run_here(table), codes=(0,))
    assert_ends_well(run_here([*table, "--fixture-height", "25"]), codes=(0,))


SMALLEST: dict[str, dict[str, str]] = {
    "rock of no height": changed_once(
        "rocks.csv", "shelf,slab,50,33,14,16,10,", "shelf,slab,50,33,14,16,1e-320,"
    ),
    "angles that are one in radians": changed_once("beam.ies", "0 30 60 90", "0 5e-324 60 90"),
}


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize(("what", "code"), list(zip(SMALLEST, (2, 0), strict=True)))
def test_numbers_without_digits_left_are_refused_or_answered(
    what: str, code: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A size of 1e-320 cm gave NaN; two angles that differ by 5e-324 degrees a division by zero."""
    monkeypatch.chdir(write_tank(tmp_path / "tank", SMALLEST[what]))
    ending = run_here(["dose", "setup.toml", "--json"])
    assert_ends_well(ending, codes=(code,))
    assert ("0.01 cm to 2000 cm" in ending.told) == (code == 2)


FOUND = {
    "a match that would light nothing, or no colour": [
        *((102, 351), (102, 925), (103, 189), (104, 440), (425, 449)),
    ],
    "a driver that rises within next to nothing": [(428, 197)],
    "a coral that would get infinitely more light than today": [(404, 493)],
    "readings planned where light is known to no factor that a number holds": [(308, 5), (433, 369)],
    "a peak so low that an hour of it is nothing": [(316, 446)],
    "a place beside light that is hardly there": [(222, 162)],
    "a shaft 18 m deep whose front wall mirrors 5e-324": [(223, 372)],
    "light at eight places that would take minutes": [(301, 160)],
}


@pytest.mark.identity
@pytest.mark.parametrize("what", FOUND)
def test_case_that_a_long_run_found_ends_well(what: str, tmp_path: Path) -> None:
    """Divisions by zero, an overflow and more than 20 s before."""
    from misuse.fuzz import run_case

    for seed, number in FOUND[what]:
        assert run_case(seed, number, tmp_path / f"{seed}-{number}")[1] in (0, 2)


@pytest.mark.identity
def test_place_that_is_taken_by_no_table_at_all_is_refused_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first line of what is there may be anything: old line ends, a picture, an endless line."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    for there in (b"a,b\rc,d\r", b"\x89PNG,\r;\0", b"x," * 200_000):
        Path("d.csv").write_bytes(there)
        assert_ends_well(run_here(["dose", "setup.toml", "--csv", "d.csv"]), codes=(2,))
        assert Path("d.csv").read_bytes() == there


LONG_TEXTS: dict[str, dict[str, str]] = {
    "title": changed_once("setup.toml", 'title = "', f'title = "{"x" * 9_900_000}'),
    "a key": changed_once("setup.toml", "[tank]", f'[tank]\n"{"x" * 2_000_000}" = 1'),
    "name of a fixture's kind": changed_once("lamp.toml", 'name = "', f'name = "{"x" * 501}'),
    "several lines": changed_once("setup.toml", '"my-groups.toml"', f'"""{"x" * 600}"""'),
}


@pytest.mark.identity
@pytest.mark.skipif(os.name == "nt", reason="memory is asked from a POSIX system")
@pytest.mark.parametrize("what", LONG_TEXTS)
def test_endless_text_is_refused_with_its_limit(what: str, tmp_path: Path) -> None:
    """A title of 9.9 MB took 1.2 GB: every text of a TOML file has the same limit, and says it."""
    tank = write_tank(tmp_path / "tank", LONG_TEXTS[what])
    ending = run_alone(("report", "setup.toml", "-o", "out.html"), tank)
    assert_ends_well(ending, codes=(2,))
    assert re.search(r" [\d,]+ letters\n(?:.*\n)*?    allowed: up to 500\n", ending.told)
    assert ending.peak_mb < 400


@pytest.mark.identity
@pytest.mark.parametrize(("letters", "code"), [(500, 0), (501, 2)])
def test_name_in_a_table_has_the_limit_of_a_text(letters: int, code: int, tmp_path: Path) -> None:
    """The shared reader of tables refuses a longer name or note with its line."""
    tank = small_tank(tmp_path / "tank")
    (tank / "s.csv").write_text(f"site,x_cm,y_cm,depth_cm\n{'n' * letters},10,10,5\n", encoding="utf-8")
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    (tank / "setup.toml").write_text(f'sites = "s.csv"\n{text}', encoding="utf-8")
    ending = run_here(["dose", str(tank / "setup.toml")])
    assert_ends_well(ending, codes=(code,))
    assert ("s.csv:2" in ending.told and "up to 500" in ending.told) == (code == 2)


@pytest.mark.identity
def test_report_names_no_folder_above_the_setup(tmp_path: Path) -> None:
    """A page goes to other people: called by its full path, it tells nothing of the account."""
    tank = small_tank(tmp_path / "account" / "tank")
    page = tmp_path / "page.html"
    ending = run_here(["report", str(tank / "setup.toml"), "-o", str(page)])
    assert_ends_well(ending, codes=(0,))
    text = page.read_text(encoding="utf-8")
    assert str(tmp_path) not in text
    assert "account" not in text
    assert "setup.toml" in text


@pytest.mark.identity
@pytest.mark.skipif(sys.platform != "linux", reason="names that are no UTF-8")
def test_folder_whose_name_is_no_utf8_ends_no_batch(tmp_path: Path) -> None:
    """The others are answered, and so is it; CSV and pages escape its name."""
    for name in (b"caf\xe9", b"plain"):
        os.rename(small_tank(tmp_path / "made"), os.fsencode(tmp_path) + b"/" + name)
    for words in (("dose", ".", "--csv", "all.csv"), ("report", ".", "-o", "out")):
        run = subprocess.run(
            [sys.executable, "-m", "lightdose", *words],
            cwd=tmp_path,
            capture_output=True,
            timeout=120,
            check=False,
        )
        assert run.returncode == 0, run.stderr
    assert b"caf\\udce9" in (tmp_path / "all.csv").read_bytes()
    assert len(list((tmp_path / "out").glob("*.html"))) == 2


@pytest.mark.identity
def test_thousand_corals_of_one_site_take_no_longer_than_of_many(tmp_path: Path) -> None:
    """What is told of a coral is looked up, not searched for among all."""
    from time import process_time

    spent = []
    for shared in (True, False):
        tank = small_tank(tmp_path / str(shared))
        sites = "".join(f"s{n},10,10,{5 + n % 9}\n" for n in range(3000))
        rows = "".join(f"c{n},clam,s{0 if shared else n}\n" for n in range(3000))
        (tank / "s.csv").write_text(f"site,x_cm,y_cm,depth_cm\n{sites}", encoding="utf-8")
        (tank / "c.csv").write_text(f"coral,group,site\n{rows}", encoding="utf-8")
        text = (tank / "setup.toml").read_text(encoding="utf-8")
        (tank / "setup.toml").write_text(f'sites = "s.csv"\ncorals = "c.csv"\n{text}', encoding="utf-8")
        start = process_time()
        ending = run_here(["dose", str(tank / "setup.toml")])
        spent.append(process_time() - start)
        assert_ends_well(ending, codes=(0,))
    assert spent[0] < 2 * spent[1]


HORIZON = "{ table = [[0, 0], [89, 0], [90, 1]] }"
FAINT = """\
format = "lightdose-setup/1"
title = "faint (invented)"
sites = "s.csv"
corals = "c.csv"
[tank]
length = "135 cm"
width = "1.4 cm"
water_depth = "192 cm"
[water]
yellowing_440_per_m = 1.7
[[fixture]]
name = "f"
type = "lamp.toml"
at = { x = "8 cm", y = "0 cm", height = "44 cm" }
schedule = { c0 = [["12:00", 5], ["12:01", 0]], c1 = [["08:00", 1e-300], ["18:00", 1e-300]] }
"""
FAINT_LAMP = """\
format = "lightdose-fixture/1"
name = "lamp (invented)"
[[channel]]
name = "c0"
spectrum = { peak_nm = 457, fwhm_nm = 37 }
photon_flux_umol_s = 61
dimming = [[0, 0], [99, 0], [100, 100]]
[[channel]]
name = "c1"
spectrum = { peak_nm = 545, fwhm_nm = 31 }
photon_flux_umol_s = 100000
beam = { table = [[0, 1e-300], [89.999, 1e-300], [90, 0]] }
"""


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
def test_survey_of_light_that_is_hardly_there_ends_well(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Doses that are known to no factor that a number holds are told as that."""
    monkeypatch.chdir(tmp_path)
    sites = "site,x_cm,y_cm,depth_cm\nfar,67,1.4,192\nnear,39,0.7,192\n"
    corals = "coral,group,site\none,lps-branching,far\nother,mushroom,near\n"
    files = {"setup.toml": FAINT, "lamp.toml": FAINT_LAMP, "s.csv": sites, "c.csv": corals}
    for name, text in files.items():
        Path(name).write_text(text, encoding="utf-8")
    for words in (["survey", "setup.toml"], ["place", "setup.toml"], ["dose", "setup.toml", "--json"]):
        assert_ends_well(run_here(words))


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
def test_lobe_that_shines_along_the_water_alone_is_judged_for_eyes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its strongest direction is 90 deg from straight down: an eye beside the lamp gets it."""
    files = changed_once("lamp2.toml", "{ fwhm_deg = 90 }", HORIZON)
    monkeypatch.chdir(write_tank(tmp_path / "tank", files))
    ending = run_here(["hazard", "setup.toml", "--json"])
    assert_ends_well(ending, codes=(0,))
    for command in ("match setup.toml setup.toml --pair ridge=ridge", "dose setup.toml --json"):
        assert_ends_well(run_here(command.split()), codes=(0,))


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
def test_response_of_a_meter_is_relative_however_small(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A response of 1e-310 throughout is one of 1 throughout."""
    shown = []
    for value in ("1", "1e-310"):
        rows = "".join(f"{nm},{value}\n" for nm in range(400, 701, 20))
        made = write_tank(tmp_path / value, {"response.csv": f"wavelength_nm,response\n{rows}"})
        monkeypatch.chdir(made)
        ending = run_here(["meter", "setup.toml", "120", "--site", "ridge", "--json"])
        assert_ends_well(ending, codes=(0,))
        shown.append(json.loads(ending.out)["ppfd_umol_m2_s"])
    assert shown[0] == pytest.approx(shown[1], rel=1e-9)  # 1e-310 has fewer digits than others


@pytest.mark.identity
@pytest.mark.filterwarnings("error")
def test_reading_of_light_that_is_hardly_there_is_refused_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How many times the file's output it is needs no number that can hold it."""
    files = changed_once("readings.csv", "sand,,,,,0,0,100,0", "sand,,,,,0,0,1e-320,0")
    monkeypatch.chdir(write_tank(tmp_path / "tank", files))
    ending = run_here(["calibrate", "setup.toml", "readings.csv", "--date", "2026-03-14"])
    assert_ends_well(ending, codes=(2,))
    assert "times what the fixture file gives here" in ending.told
    assert max(map(len, ending.told.split("\n"))) < 200


@pytest.mark.identity
@pytest.mark.parametrize("level", [1e-300, 1e-8, 50.0])
def test_reading_that_no_lamp_can_give_is_refused_where_none_is_stated(
    level: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Under a lamp of unknown output a reading may mean any light, up to what a fixture file may state."""
    lamp = (
        '[[channel]]\nname = "blue"\nspectrum = { peak_nm = 450, fwhm_nm = 20 }\nbeam = { fwhm_deg = 110 }\n'
    )
    day = f'schedule = {{ blue = [["08:00", 50], ["11:00", {level!r}], ["13:00", {level!r}]] }}\n'
    places = 'at = { x = "15 cm", y = "15 cm", height = "20 cm" }\n'
    hung = f'[[fixture]]\nname = "panel"\ntype = "lamp.toml"\n{places}{day}'
    size = '[tank]\nlength = "30 cm"\nwidth = "30 cm"\nwater_depth = "30 cm"\n'
    texts = {
        "setup.toml": f'format = "lightdose-setup/1"\ntitle = "dim"\nsites = "s.csv"\n{size}{hung}{METER}',
        "lamp.toml": f'format = "lightdose-fixture/1"\nname = "panel"\n{lamp}',
        "s.csv": "site,x_cm,y_cm,depth_cm\nmiddle,15,15,10\n",
        "r.csv": "site,meter,reading,unit,time\nmiddle,hand,150,umol_m2_s,12:00\n",
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    ending = run_here(["calibrate", "setup.toml", "r.csv", "--date", "2026-03-14"])
    assert_ends_well(ending, codes=(0,) if level > 1 else (2,))
    assert ("up to 100,000 umol/s" in ending.told) is (level < 1)


@pytest.mark.identity
def test_several_files_of_many_problems_make_one_short_message(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All problems of all files are counted; fewer of each are shown, the more files there are."""
    made, again = {}, ("rocks.csv", "sites.csv", "corals.csv", "left.csv")
    for name in again:
        head, row, rest = FILES[name].split("\n", 2)
        made[name] = "\n".join([head, *[row] * 2000, rest])
    monkeypatch.chdir(write_tank(tmp_path / "tank", made))
    ending = run_here(["dose", "setup.toml"])
    assert_ends_well(ending, codes=(2,))
    assert len(ending.told) < 18_000
    assert all(f"{name}:" in ending.told for name in again)
    assert int(re.findall(r"(\d+) problems", ending.told)[-1]) > 6000


@pytest.mark.identity
def test_map_and_changes_that_would_take_minutes_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The limit is named; a map whose cells were asked for may take more."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    monkeypatch.setattr("lightdose.workflows.plans.RAYS_AT_MOST", 10_000)
    monkeypatch.setattr("lightdose.workflows.plans.times_lit", lambda _: 10**7)
    for words, what in (("map", "this map"), ("sensitivity", "10000000 changes that light it otherwise")):
        ending = run_here([words, "setup.toml"])
        assert_ends_well(ending, codes=(2,))
        assert f"in all for {what}" in ending.told
        assert "allowed: at most 1,000,000 to a place, " in ending.told
    assert_ends_well(run_here(["map", "setup.toml", "--cell", "5 cm"]), codes=(0,))
    assert_ends_well(run_here(["report", "setup.toml", "-o", "page.html"]), codes=(0,))


@pytest.mark.identity
def test_every_file_of_the_tank_can_be_harmed() -> None:
    """Each kind of file is among those that the long run draws from."""
    from misuse.fuzz import case

    kinds = {case(1, number).kind for number in range(600)}
    assert {f"file {name}" for name in FILES} <= kinds
    assert {"three files", "diary diary/states.csv"} <= kinds


@pytest.mark.identity
@pytest.mark.parametrize("first", range(0, 60, 10))
def test_cases_of_the_long_run_end_well(first: int, tmp_path: Path) -> None:
    """Sixty of them in every run; `python tests/misuse` goes on from there."""
    from misuse.fuzz import run_many

    _, faults = run_many(11, range(first, first + 10), tmp_path, alone=False, go_on=lambda: True)
    assert faults == {}
