"""Plans that would compute for minutes or fill the memory are refused at once, with their limit named."""

from __future__ import annotations

import re
from functools import partial
from pathlib import Path

import pytest
from misuse.ending import assert_ends_well, run_here
from misuse.every_file import FILES, write_tank

from lightdose.physics.field_limits import refuse_too_many_changes


@pytest.mark.identity
@pytest.mark.parametrize(("command", "most"), [("tune", 500), ("place", 1000), ("survey", 2000)])
def test_plan_of_too_many_corals_is_refused_at_once(
    command: str, most: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A plan's cost grows faster than its corals: tune keeps their draws, survey their errors."""
    many = "".join(f"c{i},lps-branching,A1,,,,0,,,,,,,,,\n" for i in range(most))
    monkeypatch.chdir(write_tank(tmp_path / "tank", {"corals.csv": FILES["corals.csv"] + many}))
    ending = run_here([command, "setup.toml"])
    assert_ends_well(ending, codes=(2,))
    assert f"up to {most:,} corals" in ending.told


@pytest.mark.identity
def test_survey_of_too_many_fixtures_is_refused_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its cost grows with the cube of its fixtures; those that are off count nothing."""
    head, lamp = FILES["setup.toml"].split("[[fixture]]", 1)[0], FILES["setup.toml"].split("[[fixture]]")[1]
    rest = FILES["setup.toml"].removeprefix(head)
    name = re.search(r'name = "([^"]+)"', lamp)
    assert name is not None
    for on, codes in ((61, (2,)), (0, (0,))):
        many = [lamp.replace(name[0], f'name = "f{n}"\nenabled = {str(n < on).lower()}') for n in range(62)]
        text = head + "".join(f"[[fixture]]{one}\n" for one in many) + rest
        made = write_tank(tmp_path / str(on), {"setup.toml": text})
        monkeypatch.chdir(made)
        ending = run_here(["survey", "setup.toml"])
        assert_ends_well(ending, codes=codes)
        assert ("up to 60" in ending.told) == (codes == (2,))


@pytest.mark.identity
def test_plan_of_too_many_places_is_refused_at_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Hundreds of corals on twenty thousand places of a grid would fill the memory."""
    many = "".join(f"c{i},lps-branching,A1,,,,0,,,,,,,,,\n" for i in range(290))
    monkeypatch.chdir(write_tank(tmp_path / "tank", {"corals.csv": FILES["corals.csv"] + many}))
    ending = run_here(["place", "setup.toml", "--all", "--grid", "0.36 cm", "--depth", "20 cm"])
    assert_ends_well(ending, codes=(2,))
    assert "5,000,000 pairs" in ending.told


@pytest.mark.identity
def test_floor_under_too_many_lamps_is_refused_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two hundred large panels over a dry rim: each is seen in its panes as well."""
    lamp = 'name = "panel"\naperture = { length = "40 cm", width = "20 cm" }\n'
    channel = (
        '[[channel]]\nname = "blue"\nspectrum = { peak_nm = 450, fwhm_nm = 20 }\n'
        "photon_flux_umol_s = 150\nbeam = { fwhm_deg = 110 }\n"
    )
    many = "".join(
        f'[[fixture]]\nname = "f{n}"\ntype = "lamp.toml"\n'
        'schedule = { blue = [["08:00", 0], ["18:00", 50]] }\n'
        f'at = {{ x = "{n}.3 cm", y = "50 cm", height = "25 cm" }}\n'
        for n in range(200)
    )
    size = '[tank]\nlength = "200 cm"\nwidth = "100 cm"\nwater_depth = "60 cm"\nrim = "4 cm"\n'
    texts = {
        "setup.toml": f'format = "lightdose-setup/1"\ntitle = "panels"\nsites = "s.csv"\n{size}{many}',
        "lamp.toml": f'format = "lightdose-fixture/1"\n{lamp}{channel}',
        "s.csv": "site,x_cm,y_cm,depth_cm\nmiddle,100,50,30\n",
    }
    for name, text in texts.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    ending = run_here(["dose", "setup.toml"])
    assert_ends_well(ending, codes=(2,))
    assert "in all for the light that its floor sends back" in ending.told
    assert "12,000,000 in all" in ending.told


@pytest.mark.identity
@pytest.mark.parametrize(
    "command", ["sensitivity setup.toml", "survey setup.toml", "calibrate setup.toml readings.csv"]
)
def test_changes_of_a_tank_with_much_rock_are_refused_before_the_work(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each change lights rock and floor anew, which takes more than all places do."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    assert_ends_well(run_here(command.split()), codes=(0,))
    monkeypatch.setattr("lightdose.physics.field_limits.SKINS_OVER_PLACES", 1e-3)
    ending = run_here(command.split())
    assert_ends_well(ending, codes=(2,))
    assert "changes that light it otherwise" in ending.told
    assert "25,000 in all" in ending.told


@pytest.mark.identity
def test_survey_of_very_many_places_is_planned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It lights the tank anew for the few places that it weighs, not for all."""
    rows = "".join(f"more{n},{20 + n % 40 / 10},{n / 100},2,,\n" for n in range(1500))
    monkeypatch.chdir(write_tank(tmp_path / "tank", {"sites.csv": FILES["sites.csv"] + rows}))
    few = partial(refuse_too_many_changes, most=60_000)
    monkeypatch.setattr("lightdose.workflows.measuring.refuse_too_many_changes", few)
    monkeypatch.setattr("lightdose.fit.observations.refuse_too_many_changes", few)
    assert_ends_well(run_here(["survey", "setup.toml"]), codes=(0,))
