"""Every question asked in code gives its record, the JSON of its command, rows, and shows itself shortly."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

import lightdose
from lightdose.cli import cli
from lightdose.files.setup_file import Variations

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


@pytest.fixture(scope="module")
def tank(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example without rock: quick to compute."""
    folder = tmp_path_factory.mktemp("asked") / "tank"
    shutil.copytree(EXAMPLE, folder)
    text = (folder / "setup.toml").read_text(encoding="utf-8")
    start, end = text.index("# ---- Rock"), text.index("# ---- Places")
    (folder / "setup.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    return folder


def printed(*words: str) -> dict[str, Any]:
    done = CliRunner().invoke(cli, [*words, "--json"])
    assert done.exit_code == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


ASKED: dict[str, tuple[Callable[[str], Any], tuple[str, ...], list[str]]] = {
    "dose": (lambda s: lightdose.dose(s), (), ["coral", "site"]),
    "tune": (lambda s: lightdose.tune(s, blue_only=True), ("--blue-only",), ["coral", "site"]),
    "place": (lambda s: lightdose.place(s, moves=2), ("--moves", "2"), ["coral", "site"]),
    "move": (lambda s: lightdose.move(s, "meat coral", "B1"), ("meat coral", "--to", "B1"), ["site"]),
    "compare": (lambda s: lightdose.compare(s, s), ("SETUP",), []),
    "acclimate": (lambda s: lightdose.acclimate(s, s), ("SETUP",), []),
    "map": (
        lambda s: lightdose.light_map(s, depths=["20 cm"], cell=0.05),
        ("--depth", "20 cm", "--cell", "5 cm"),
        [],
    ),
    "match": (
        lambda s: lightdose.match(s, s, {"ridge": "ridge"}),
        ("SETUP", "--pair", "ridge=ridge"),
        ["fixture", "channel"],
    ),
    "survey": (lambda s: lightdose.survey(s, readings=3), ("--readings", "3"), ["site"]),
    "sensitivity": (
        lambda s: lightdose.sensitivity(s, ["height +2 cm"]),
        ("--case", "height +2 cm"),
        ["coral", "site"],
    ),
}


@pytest.mark.identity
@pytest.mark.parametrize("name", ASKED)
def test_question_in_code_gives_what_its_command_prints(name: str, tank: Path) -> None:
    """The same JSON, rows with their index, at most twelve lines, and markup without scripts."""
    ask, words, index = ASKED[name]
    setup = str(tank / "setup.toml")
    found = ask(setup)
    told = json.loads(json.dumps(found.to_dict()))
    assert told == printed(name, setup, *(setup if w == "SETUP" else w for w in words))
    rows = found.to_frame()
    assert len(rows) > 0
    assert [n for n in rows.index.names if n is not None] == index
    assert len(repr(found).splitlines()) < 12
    html = found._repr_html_()
    assert "<p" in html
    assert "<script" not in html


@pytest.mark.identity
def test_spectra_readings_and_diary_give_what_their_commands_print(tank: Path) -> None:
    """Questions that take no setup alone: the same JSON, and spectra made in code beside those of files."""
    readings = tank / "readings.csv"
    diary = EXAMPLE.parent / "two-years"
    mine = lightdose.Spectrum("mine", np.arange(400.0, 701.0), np.ones(301), "photons")
    for found, words in (
        (lightdose.spectrum_metrics("blue-445", "white-led-b3"), ("spectrum", "blue-445", "white-led-b3")),
        (
            lightdose.calibrate(tank, readings, date="2026-03-14"),
            ("calibrate", str(tank), str(readings), "--date", "2026-03-14"),
        ),
        (lightdose.history(diary), ("history", str(diary))),
    ):
        assert json.loads(json.dumps(found.to_dict())) == printed(*words)
        assert len(repr(found).splitlines()) < 12
        assert len(found.to_frame()) > 0
    figures = lightdose.spectrum_metrics(mine).to_dict()["spectra"][0]
    assert figures["outside_400_700_fraction"] == pytest.approx(0, abs=1e-9)
    with pytest.raises(lightdose.LightdoseError, match="rigde"):
        lightdose.calibrate(tank, readings, date="2026-03-14", open_sky=["rigde"])


@pytest.mark.identity
def test_map_stands_in_a_dataset_with_its_places(tank: Path) -> None:
    """Cells in metres, quantities with their unit; what is no map says so."""
    with pytest.raises(TypeError, match="for a map"):
        lightdose.spectrum_metrics("blue-445").to_xarray()
    xarray = pytest.importorskip("xarray")
    found = lightdose.light_map(tank, depths=["10 cm", "20 cm"], cell=0.05)
    made = found.to_xarray()
    assert isinstance(made, xarray.Dataset)
    assert dict(made.sizes) == {"depth": 2, "y": 9, "x": 15}
    assert made.depth.values.tolist() == [0.1, 0.2]
    assert made.dli.attrs["units"] == "mol m-2 d-1"
    assert np.array_equal(made.dli.values[1], found.slices[1].dli, equal_nan=True)


@pytest.mark.identity
def test_calibration_asked_in_code_makes_the_setup_measured(tank: Path) -> None:
    """Its gains are those of the command; put into the setup they stand behind its first line."""
    setup = lightdose.read_setup(tank)
    found = lightdose.calibrate(setup, tank / "readings.csv", date="2026-03-14")
    told = printed("calibrate", str(tank), str(tank / "readings.csv"), "--date", "2026-03-14")
    assert json.loads(json.dumps(found.to_dict()))["gains"] == told["gains"]
    measured = setup.changed(calibration=found.calibration)
    assert lightdose.analyse(measured, certainty=False).basis.key == "measured"


@pytest.mark.identity
def test_light_at_points_and_through_the_day_is_that_of_the_sites(tank: Path) -> None:
    """Doses at the sites' own places, and PPFD whose integral over the day is the dose."""
    setup = lightdose.read_setup(tank)
    result = lightdose.analyse(setup, certainty=False)
    # Where the open sky is written it stands for the shade of colonies too, which counts at any other point.
    free = [n for n, s in enumerate(setup.sites) if not s.own_sky]
    points = [(setup.sites[n].x_m, setup.sites[n].y_m, setup.sites[n].depth_m) for n in free]
    open_sky = np.array([setup.sites[n].open_sky for n in free])
    doses = lightdose.dose_at(setup, points)
    # Light at Chebyshev nodes in absorption, as many as 1e-8 needs for the places asked for together.
    assert doses * open_sky == pytest.approx(result.dose.dli[free], rel=1e-8)
    hours = np.linspace(0, 24, 24 * 3600 + 1)
    ppfd = result.ppfd("ridge", hours)
    assert 3600e-6 * np.trapezoid(ppfd, hours) == pytest.approx(result.dose.dli[0], rel=1e-6)
    with pytest.raises(KeyError, match="no site 'rigde'"):
        result.ppfd("rigde", [12.0])


@pytest.mark.identity
def test_draws_and_seed_are_what_is_asked(tank: Path) -> None:
    """The same seed gives the same interval, another one another, both nearly alike."""
    setup = lightdose.read_setup(tank)
    one, again, other = (lightdose.analyse(setup, draws=500, seed=n).uncertainty for n in (3, 3, 4))
    assert one is not None
    assert again is not None
    assert other is not None
    assert one.draws == 500
    assert np.array_equal(one.dli, again.dli)
    assert not np.array_equal(one.dli, other.dli)
    assert one.dli == pytest.approx(other.dli, rel=0.15)


@pytest.mark.identity
def test_setup_and_results_show_themselves_in_a_few_lines() -> None:
    """Sixty corals do not fill a screen."""
    setup = lightdose.read_setup(EXAMPLE.parent / "long-tank")
    for shown in (setup, lightdose.analyse(setup, certainty=False)):
        assert len(repr(shown)) < 1200
        assert len(repr(shown).splitlines()) < 12


@pytest.mark.identity
def test_variation_in_code_equals_that_of_the_command_line(tank: Path) -> None:
    """Height, overall setting, beam and a coral less; each gives the doses of the same option or edit."""
    setup = lightdose.read_setup(tank)

    def doses(one: lightdose.Setup) -> Any:
        return lightdose.analyse(one, certainty=False).dose.dli

    for made, asked in (
        (setup.changed(height="16 cm"), Variations(fixture_height_m=0.16)),
        (setup.changed(height=0.16), Variations(fixture_height_m=0.16)),
        (setup.changed(all_channels=38), Variations(all_channels={"": 38.0})),
    ):
        assert doses(made) == pytest.approx(doses(lightdose.read_setup(tank, asked)), rel=1e-12)
    assert "meat coral" not in [c.name for c in setup.changed(without="meat coral").corals]
    narrow = setup.changed(beam_deg=60)
    assert {c.beam.fwhm_deg for f in narrow.fixtures for c in f.type.channels} == {60.0}  # type: ignore[union-attr]


@pytest.mark.identity
@pytest.mark.parametrize(
    ("what", "kind", "told"),
    [
        ({"height": 16}, lightdose.LightdoseError, 'write "16 cm" or "16 m"'),
        ({"heigth": 0.16}, TypeError, "did you mean 'height'"),
        ({"without": "meat corral"}, lightdose.LightdoseError, "did you mean 'meat coral'"),
        ({"all_channels": 400}, lightdose.LightdoseError, "left"),
    ],
)
def test_change_that_cannot_be_meant_is_refused(
    what: dict[str, Any], kind: type[Exception], told: str
) -> None:
    """With the value, what is allowed, and a cure."""
    with pytest.raises(kind, match=re.escape(told)):
        lightdose.read_setup(EXAMPLE).changed(**what)


@pytest.mark.identity
def test_page_of_the_guide_runs_as_it_stands(tank: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every Python block of the page, one after another, beside a folder my-tank."""
    page = Path(lightdose.__file__).parent / "guide" / "python.md"
    blocks = re.findall(r"```python\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL)
    (tank.parent / "my-tank").symlink_to(tank, target_is_directory=True)
    monkeypatch.chdir(tank.parent)
    names: dict[str, Any] = {}
    for block in blocks:
        exec(block, names)
    assert names["tuned"].to_dict()["counts"]["after"]["within"] == names["tuned"].after.judgement.within
