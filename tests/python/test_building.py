"""A tank built in code is what its files would be, is refused as they would be, and is saved as files."""

from __future__ import annotations

import pickle
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lightdose as ld
from lightdose.files.setup_writer import files_of
from lightdose.files.units import format_length_exact, parse_length
from lightdose.model.fixture import DimmingCurve, PhotometricLobe

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
DAY = {"08:00": 0, "10:00": 60, "18:00": 60, 20: 0}


def panel() -> ld.FixtureType:
    blue = ld.Channel("blue 450", ld.Led(450, 20), photon_flux_umol_s=60, beam_deg=90)
    white = ld.Channel("white", "white-led-b3", ppf_umol_s=60, beam_deg=90)
    return ld.FixtureType("panel", [blue, white], aperture=("40 cm", 0.06))


def study(**more: Any) -> ld.Setup:
    day = ld.Programme({"blue 450": DAY, "white": DAY})
    given = {
        "tank": ld.Tank("75 cm", 0.45, "40 cm", walls={"back": "painted"}),
        "fixtures": [ld.Fixture("left", panel(), "22 cm", "22 cm", "20 cm", day)],
        "sites": [ld.Site("ridge", "40 cm", 0.2, "10 cm")],
        "corals": [ld.Coral("staghorn frag", "Acropora", "ridge", height="2 cm")],
    } | more
    return ld.Setup("study", **given)


SETUP = """\
format = "lightdose-setup/1"
title = "study"
tank = { length = "75 cm", width = "45 cm", water_depth = "40 cm", walls = { back = "painted" } }
[[fixture]]
name = "left"
type = "panel.toml"
at = { x = "22 cm", y = "22 cm", height = "20 cm" }
[fixture.schedule]
"blue 450" = [["08:00", 0], ["10:00", 60], ["18:00", 60], ["20:00", 0]]
white = [["08:00", 0], ["10:00", 60], ["18:00", 60], ["20:00", 0]]
[[site]]
name = "ridge"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
[[coral]]
name = "staghorn frag"
group = "Acropora"
site = "ridge"
height = "2 cm"
"""
PANEL = """\
format = "lightdose-fixture/1"
name = "panel"
aperture = { length = "40 cm", width = "6 cm" }
[[channel]]
name = "blue 450"
spectrum = { peak_nm = 450, fwhm_nm = 20 }
photon_flux_umol_s = 60
beam = { fwhm_deg = 90 }
[[channel]]
name = "white"
spectrum = { library = "white-led-b3" }
ppf_umol_s = 60
beam = { fwhm_deg = 90 }
"""


def same_light(one: ld.Setup, other: ld.Setup, rel: float = 1e-12) -> None:
    """Doses and their draws agree."""
    a, b = ld.analyse(one, draws=200), ld.analyse(other, draws=200)
    assert a.dose.dli == pytest.approx(b.dose.dli, rel=rel)
    assert a.uncertainty is not None
    assert b.uncertainty is not None
    assert a.uncertainty.dli == pytest.approx(b.uncertainty.dli, rel=rel)


@pytest.mark.identity
def test_tank_in_code_is_the_tank_of_its_files(tmp_path: Path) -> None:
    """The same words in code and in files give the same doses, intervals, verdicts and basis."""
    (tmp_path / "setup.toml").write_text(SETUP, encoding="utf-8")
    (tmp_path / "panel.toml").write_text(PANEL, encoding="utf-8")
    files, code = ld.read_setup(tmp_path), study()
    same_light(files, code)
    assert code.tank == files.tank
    assert code.corals == files.corals
    assert ld.analyse(code).verdicts[0].advice == ld.analyse(files).verdicts[0].advice
    assert not re.search(r"/tmp|lightdose-\w+/", f"{code.understood} {code.path} {code.fixtures[0].type}")


def examples() -> list[Path]:
    return sorted(
        path
        for path in EXAMPLES.glob("*/*.toml")
        if "lightdose-setup/" in path.read_text(encoding="utf-8")[:200] and "unlabelled" not in str(path)
    )


@pytest.mark.identity
@pytest.mark.parametrize("path", examples(), ids=lambda p: f"{p.parent.name}/{p.name}")
def test_saved_setup_is_read_back_the_same(path: Path, tmp_path: Path) -> None:
    """Every example, written as files anew: the same doses and draws, and the same files once more."""
    setup = ld.read_setup(path)
    setup.save(tmp_path / "saved")
    again = ld.read_setup(tmp_path / "saved")
    same_light(setup, again)
    assert files_of(again) == files_of(setup)


@pytest.mark.identity
def test_everything_that_a_setup_may_hold_is_saved(tmp_path: Path) -> None:
    """Spectra and beams as arrays, dimming, rock, racks, faces, meters, covers, doubts, colonies."""
    nm = np.arange(400.0, 701.0, 5)
    curve = ld.Spectrum("mine", nm, np.exp(-(((nm - 520) / 60) ** 2)), "photons")
    dimming = [(0, 0), (30, 22.2), (100, 100)]
    channels = [
        ld.Channel("own", curve, radiant_flux_w=9, beam=[(0, 1), (30, 0.7), (60, 0)], dimming=dimming),
        ld.Channel("mixed", [("blue-445", 0.7), (curve, 0.3)], electrical_w=20, radiant_efficiency="typical"),
    ]
    kind = ld.FixtureType("Gerät", channels, emitters=(24, "8 mm"), electrical_w=44)
    lobe = PhotometricLobe(
        np.array([0, 90, 180, 270, 360.0]), np.array([0, 45, 80.0]), np.random.default_rng(3).random((5, 3))
    )
    lit = [replace(kind.record.channels[0], beam=lobe, dimming=DimmingCurve.linear().from_foot(0.07))]
    kind = ld.FixtureType("second", [*lit, kind.record.channels[1]])
    day = ld.Programme({"own": {"20:00": 0, "22:00": 33.3, "02:00+1": 0}, "mixed": DAY})
    setup = study(
        fixtures=[ld.Fixture("サンゴ", kind, 0.3, 0.2, "8 in", day, rotation_deg=20, output_scale=0.9)],
        sites=[ld.Site("front face", 0.4, 0.1, height="12 cm", faces="front", open_sky="half under")],
        racks=[ld.Rack("A", 0.1, 0.1, 0.2, columns=3, rows=2, pitch=0.05)],
        corals=[
            ld.Coral("a", "sps-shallow", x=0.5, y=0.2, depth=0.3, height=0.06, diameter="8 cm", form="table"),
            ld.Coral("b", "open-brain", "A2", previous=4.5, peak_max=200, pinned=True, dli_band=(3, 6)),
            ld.Coral("c", "zoanthid"),
        ],
        rocks=[ld.Rock("arch", "slab", 0.6, 0.3, size=(0.1, "12 cm", 0.05), height=0.1, turn_deg=30)],
        meters=[ld.Meter("dip", response="soft", immersion=1.2, calibrated_on=curve)],
        water={"yellowing_440_per_m": 0.2},
        cover={"transmittance": 0.9},
        uncertainty={"beam_fraction": 0.2},
    )
    setup.save(tmp_path / "saved")
    again = ld.read_setup(tmp_path / "saved")
    same_light(setup, again)
    for name in ("tank", "sites", "corals", "unplaced", "rocks", "uncertainty", "groups"):
        assert getattr(again, name) == getattr(setup, name), name
    assert again.meters["dip"].immersion == 1.2
    assert again.fixtures[0].programme.points() == setup.fixtures[0].programme.points()


@pytest.mark.identity
def test_edits_and_calibration_are_saved(tmp_path: Path) -> None:
    """What readings measured and what was edited afterwards is what is read back."""
    setup = ld.read_setup(EXAMPLES / "first-tank")
    found = ld.calibrate(setup, EXAMPLES / "first-tank" / "readings.csv", date="2026-03-14")
    measured = setup.changed(calibration=found.calibration, without="meat coral")
    lamp = measured.fixtures[0]
    kind, first = lamp.type, lamp.type.channels[0]
    assert first.flux is not None
    brighter = replace(first, flux=replace(first.flux, value=2 * first.flux.value))
    edited = replace(lamp, type=replace(kind, channels=(brighter, *kind.channels[1:])))
    for n, one in enumerate((measured, replace(measured, fixtures=(edited, *measured.fixtures[1:])))):
        one.save(tmp_path / str(n))
        same_light(one, ld.read_setup(tmp_path / str(n)))


@pytest.mark.identity
def test_parts_take_the_place_of_what_a_setup_had() -> None:
    """A new tank, a coral more; corals with a place of their own keep it, a calibration stays."""
    setup = study(corals=[ld.Coral("own place", "open-brain", x=0.1, y=0.1, depth=0.3)])
    made = setup.changed(corals=[*setup.corals, ld.Coral("new", "zoanthid", "ridge")])
    assert [(c.name, c.site) for c in made.corals] == [("own place", "own place"), ("new", "ridge")]
    assert [s.name for s in made.sites] == [s.name for s in setup.sites]
    assert len(setup.changed(sites=[*setup.sites, ld.Site("new", 0.5, 0.1, 0.1)]).sites) == 3
    old = ld.read_setup(EXAMPLES / "mixed-blue").changed(
        corals=[ld.Coral("own", "zoanthid", x=0.1, y=0.1, depth=0.2)]
    )
    same_light(ld.Setup("new", old.tank, old.fixtures, old.sites, old.corals, water=old.water), old)
    racked = study(racks=[ld.Rack("A", 0.1, 0.1, 0.2, columns=2, rows=2, pitch=0.05)], corals=[])
    more = racked.changed(sites=[*racked.sites, ld.Site("new", 0.5, 0.1, 0.1)])
    assert [s.name for s in more.sites] == ["ridge", "A1", "A2", "B1", "B2", "new"]
    wider = setup.changed(tank=ld.Tank("90 cm", "45 cm", "40 cm"), height="16 cm")
    assert wider.tank.length_m == 0.9
    assert wider.tank.walls["back"].kind == "clean"
    assert wider.fixtures[0].height_m == 0.16
    same_light(setup.changed(beam_deg=60, all_channels=38), setup.changed(all_channels=38, beam_deg=60))


@pytest.mark.identity
def test_parts_are_no_records() -> None:
    """``replace`` says where parts belong; setups and results travel between processes."""
    setup = study()
    with pytest.raises(TypeError, match=re.escape("setup.changed(tank=...)")):
        replace(setup, tank=ld.Tank("90 cm", "45 cm", "40 cm"))
    with pytest.raises(TypeError, match=re.escape("setup.changed(sites=...)")):
        replace(setup, sites=(ld.Site("a", 0.1, 0.1, 0.1),))
    again = pickle.loads(pickle.dumps(setup))
    assert files_of(again) == files_of(setup)
    result = ld.analyse(again, draws=200)
    assert np.array_equal(pickle.loads(pickle.dumps(result)).dose.dli, result.dose.dli)


@pytest.mark.identity
def test_nothing_is_saved_over_files(tmp_path: Path) -> None:
    """A folder that holds a setup is refused, and stays as it was."""
    study().save(tmp_path)
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    with pytest.raises(ld.OutputError, match="already, and nothing was written"):
        study(sites=[], corals=[]).save(tmp_path)
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


@pytest.mark.identity
def test_every_question_is_answered_for_a_tank_made_in_code() -> None:
    """It needs no file; what does need one, a diary, says so."""
    tank = study(
        racks=[ld.Rack("A", 0.1, 0.1, 0.2, columns=3, rows=2, pitch=0.1)],
        corals=[
            ld.Coral("stag", "Acropora", "ridge"),
            ld.Coral("button", "zoanthid", "A2"),
            ld.Coral("c", "mushroom"),
        ],
        meters=[ld.Meter("dip", immersion="built in")],
    )
    dimmed = tank.changed(all_channels=80)
    asked: list[Callable[[], Any]] = [
        lambda: ld.dose(tank),
        lambda: ld.tune(tank),
        lambda: ld.place(tank),
        lambda: ld.compare(tank, dimmed),
        lambda: ld.acclimate(tank, dimmed),
        lambda: ld.match(tank, dimmed, {"A1": "A1"}),
        lambda: ld.survey(tank),
        lambda: ld.sensitivity(tank),
        lambda: ld.light_map(tank, cell=0.1),
    ]
    for ask in asked:
        found = ask()
        made = found.to_dict()["provenance"]["setups"][0]
        assert (made["file"], made["inputs_sha256"]) == (None, {})
        assert len(made["sha256"]) == 64
        assert len(repr(found).splitlines()) < 12
    with pytest.raises(ld.SetupError, match="has no diary"):
        ld.history(tank)


REFUSED: dict[str, tuple[Callable[[], object], type[Exception], str]] = {
    "centimetres": (lambda: ld.Tank(75, 45, 40), ld.SetupError, 'write "75 cm" or "75 m"'),
    "NaN": (lambda: ld.Tank(float("nan"), 1, 1), ValueError, "length: nan is not a finite length"),
    "a list": (lambda: ld.Tank([1], 1, 1), TypeError, 'such as "75 cm"'),  # type: ignore[arg-type]
    "no unit": (lambda: ld.Site("a", "20", 0.1, 0.1), ld.SetupError, 'write "20 cm" or "20 in"'),
    "a wall": (lambda: ld.Tank(1, 0.4, 0.4, walls={"bakc": "dark"}), ld.SetupError, "did you mean back?"),
    "beside": (lambda: study(sites=[ld.Site("a", 1.2, 0.1, 0.1)]), ld.SetupError, "0 to 75 cm (tank.length)"),
    "too deep": (lambda: study(sites=[ld.Site("a", 0.1, 0.1, 0.6)]), ld.SetupError, "below the floor"),
    "tall": (
        lambda: study(corals=[ld.Coral("a", "open-brain", "ridge", height=0.2)]),
        ld.SetupError,
        "coral 'a' leaves the water: 20 cm tall",
    ),
    "sky": (lambda: ld.Site("a", 0.1, 0.1, 0.1, open_sky=5), ld.SetupError, "5 is outside the range"),
    "doubt": (lambda: study(uncertainty={"beamfraction": 0.1}), ld.SetupError, "mean beam_fraction?"),
    "keyword": (lambda: ld.Coral("a", "open-brain", hieght=3), TypeError, "a coral has no 'hieght'"),
    "setup's keyword": (lambda: study(coral=[]), TypeError, "a setup has no 'coral'"),
    "site": (lambda: study(corals=[ld.Coral("a", "open-brain", "rigde")]), ld.SetupError, "mean ridge?"),
    "group": (lambda: study(corals=[ld.Coral("a", "acropra", "ridge")]), ld.SetupError, "mean Acropora?"),
    "channel": (
        lambda: ld.Fixture("a", panel(), 0.2, 0.2, 0.2, ld.Programme({"blu": DAY, "white": DAY})),
        ld.ScheduleError,
        'did you mean "blue 450"?',
    ),
    "fractions": (lambda: ld.Programme({"b": {"08:00": 0, "9:00": 0.6}}), ld.ScheduleError, "write percent"),
    "twice": (
        lambda: ld.FixtureType("p", [ld.Channel("b", ld.Led(450, 20), radiant_flux_w=2, ppf_umol_s=3)]),
        ld.SetupError,
        "the light is stated twice",
    ),
    "peak": (lambda: ld.Led(4500, 20), ld.SpectrumError, "outside 300 to 800 nm"),
    "share": (lambda: ld.Channel("b", 450), TypeError, "a spectrum is Led(450, 20)"),  # type: ignore[arg-type]
    "kind": (lambda: study(sites=["ridge"]), TypeError, "sites: Site is wanted, not 'ridge'"),
    "hour": (lambda: ld.Programme({"b": {99: 0, 100: 1}}), ValueError, "99 h is outside 0 to 48 h"),
}


@pytest.mark.identity
@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_is_refused_when_it_is_made(case: str) -> None:
    """With the value, what is allowed, and no name of a file that nobody wrote."""
    make, kind, told = REFUSED[case]
    with pytest.raises(kind, match=re.escape(told)) as refusal:
        make()
    assert "/tmp" not in str(refusal.value)
    assert ".toml" not in str(refusal.value)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("edit", "told"),
    [
        (lambda s: replace(s, sites=(replace(s.sites[0], x_m=40.0),)), "40 cm is 0.4 m"),
        (
            lambda s: replace(s, sites=(replace(s.sites[0], depth_m=float("nan")),)),
            "nan m is outside the water",
        ),
        (lambda s: replace(s, corals=(replace(s.corals[0], height_m=6.0),)), "0 to 0.1 m, the depth"),
        (lambda s: s.changed(corals=(replace(s.corals[0], height_m=0.2),)), "0 to 0.1 m, the depth"),
        (lambda s: s.changed(sites=(replace(s.sites[0], depth_m=-0.1),)), "-0.1 m is outside the water"),
        (lambda s: replace(s, uncertainty={"beam": 1.0}), "the key beam is not known"),
        (lambda s: replace(s, fixtures=(replace(s.fixtures[0], x_m=float("inf")),)), "finite numbers"),
    ],
)
def test_edit_of_a_record_cannot_leave_the_water(edit: Callable[[ld.Setup], ld.Setup], told: str) -> None:
    """``replace`` is held to the same limits, in metres."""
    setup = study()
    with pytest.raises(ld.SetupError, match=re.escape(told)):
        edit(setup)


@pytest.mark.identity
@pytest.mark.parametrize(("depth_m", "hinted"), [(0.9, False), (9.0, True)])
def test_only_what_may_be_centimetres_is_told_to_be(depth_m: float, hinted: bool) -> None:
    """A place a little too deep is a slip of another kind: nobody means 0.9 cm by 0.9."""
    setup = study()
    with pytest.raises(ld.SetupError, match="is outside the water") as refusal:
        replace(setup, sites=(replace(setup.sites[0], depth_m=depth_m),))
    assert ("9 cm is 0.09 m" in str(refusal.value)) == hinted


@pytest.mark.identity
def test_points_and_weightings_are_asked_for_as_they_are_meant() -> None:
    """A single point is not reshaped, centimetres are refused, a word is one weighting, own ones weigh."""
    setup, point = study(), [[0.2, 0.2, 0.1]]
    for wrong in ([0.2, 0.2, 0.1], [[20, 20, 10]], [[0.2, 0.2, np.nan]], [[0.2, 0.2, 0.5]]):
        with pytest.raises(ValueError, match="points"):
            ld.light_field(setup, wrong)
    blue = ld.light_field(setup, point, "blue")
    assert blue.shape == (1, 2, 1)
    assert np.array_equal(blue, ld.light_field(setup, point, ["blue"]))
    flat = {"mine": ([400.0, 700.0], [2.0, 2.0])}
    assert ld.light_field(setup, point, flat) == pytest.approx(2 * ld.light_field(setup, point), rel=1e-12)


@pytest.mark.identity
def test_lengths_read_back_to_the_same_float() -> None:
    """10,000 random lengths, in centimetres and in inches."""
    for length_m in np.random.default_rng(1).uniform(1e-6, 20, 5000):
        for unit in ("cm", "in"):
            assert parse_length(format_length_exact(length_m, unit)) == length_m  # type: ignore[arg-type]
