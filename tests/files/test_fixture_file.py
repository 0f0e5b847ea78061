"""fixture.toml: spectra, flux, beams, dimming, and what is refused."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from lightdose.errors import Problem, SetupError
from lightdose.files.fixture_file import read_fixture_type
from lightdose.files.input_files import InputFiles
from lightdose.files.library import read_emitter, typical_radiant_efficiency
from lightdose.model.fixture import (
    Aperture,
    CosineLobe,
    DimmingCurve,
    Emitters,
    FixtureType,
    PhotometricLobe,
    TabulatedLobe,
)
from lightdose.model.spectrum import LedPeak, SpectralDistribution, SpectrumMix

HEAD = 'format = "lightdose-fixture/1"\nname = "panel"\n'
CHANNEL = '[[channel]]\nname = "blue"\nspectrum = { peak_nm = 445, fwhm_nm = 20 }\n'
IES = "IESNA:LM-63-2002\nTILT=NONE\n1 -1 1.0 3 1 1 2 0.4 0.06 0\n1 1 24\n0 45 90\n0\n100 70 0\n"
SPECTRUM_CSV = "wavelength_nm,relative_power\n430,0\n445,1\n460,0\n"

ReadFixture = Callable[..., tuple[FixtureType | None, InputFiles]]


@pytest.fixture
def read(tmp_path: Path) -> ReadFixture:
    """Writes a fixture file (with a spectrum file beside it) and reads it."""

    def write_and_read(
        more: str = "", head: str = HEAD, channel: str = CHANNEL
    ) -> tuple[FixtureType | None, InputFiles]:
        (tmp_path / "blue.csv").write_text(SPECTRUM_CSV, encoding="utf-8")
        (tmp_path / "beam.ies").write_text(IES, encoding="utf-8")
        path = tmp_path / "panel.toml"
        path.write_text(head + channel + more, encoding="utf-8")
        files = InputFiles()
        return read_fixture_type(path, files), files

    return write_and_read


def problem_of(result: tuple[FixtureType | None, InputFiles]) -> Problem:
    kind, files = result
    assert kind is None
    (problem,) = files.problems
    assert problem.place is not None
    return problem


@pytest.mark.identity
def test_fixture_takes_every_default_of_the_contract(read: ReadFixture) -> None:
    """A point without emitters; a channel without flux, power, beam or dimming: 120 deg and linear."""
    kind, files = read()
    assert kind is not None
    assert (kind.name, kind.aperture, kind.emitters) == ("panel", Aperture(0.0, 0.0), None)
    (channel,) = kind.channels
    assert channel.spectrum == LedPeak(445, 20)
    assert (channel.flux, channel.electrical_w) == (None, None)
    assert channel.beam == CosineLobe(120.0, assumed=True)
    assert channel.dimming.level.tolist() == channel.dimming.output.tolist() == [0.0, 1.0]
    assert channel.place is not None
    assert (channel.place.line, channel.place.text) == (4, 'name = "blue"')
    assert files.understood == ["panel: no beam given for blue: 120 deg assumed, a wide interval"]


@pytest.mark.identity
def test_aperture_and_emitters_are_taken(read: ReadFixture) -> None:
    """Length along x, width along y, and the light sources behind them."""
    head = (
        HEAD
        + 'aperture = { length = "40 cm", width = "6 cm" }\nemitters = { count = 24, diameter = "8 mm" }\n'
    )
    kind, _ = read(head=head)
    assert kind is not None
    assert kind.aperture == Aperture(0.4, 0.06)
    assert kind.emitters == Emitters(24, 0.008)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("line", "value"),
    [
        ("photon_flux_umol_s = 62", 62),
        ("ppf_umol_s = 60.5", 60.5),
        ("radiant_flux_w = 16", 16),
        ("luminous_flux_lm = 1200", 1200),
    ],
)
def test_each_way_to_state_the_light_is_kept_as_stated(read: ReadFixture, line: str, value: float) -> None:
    """The quantity of the data sheet stays; nothing is converted while reading."""
    kind, _ = read(line + "\nelectrical_w = 24\n")
    assert kind is not None
    flux = kind.channels[0].flux
    assert flux is not None
    assert (flux.kind, flux.value) == (line.split(" ")[0], value)
    assert (flux.radiant_efficiency, flux.typical) == (None, False)
    assert kind.channels[0].electrical_w == 24


@pytest.mark.identity
def test_power_with_an_efficiency_states_the_light(read: ReadFixture) -> None:
    """electrical_w x radiant_efficiency; "typical" takes the value by colour and says so."""
    kind, _ = read("electrical_w = 24\nradiant_efficiency = 0.45\n")
    assert kind is not None
    flux = kind.channels[0].flux
    assert flux is not None
    assert (flux.kind, flux.value, flux.radiant_efficiency, flux.typical) == ("electrical_w", 24, 0.45, False)
    kind, files = read('electrical_w = 24\nradiant_efficiency = "typical"\n')
    assert kind is not None
    flux = kind.channels[0].flux
    assert flux is not None
    assert flux.typical
    assert flux.radiant_efficiency == typical_radiant_efficiency(LedPeak(445, 20))
    assert any("typical radiant efficiency for blue" in sentence for sentence in files.understood)


@pytest.mark.identity
def test_power_alone_is_only_the_power_draw(read: ReadFixture) -> None:
    """electrical_w without an efficiency leaves the channel unscaled."""
    kind, _ = read("electrical_w = 24\n")
    assert kind is not None
    assert (kind.channels[0].flux, kind.channels[0].electrical_w) == (None, 24)


@pytest.mark.identity
@pytest.mark.parametrize(("own", "shared"), [(("", ""), True), (("60", ""), True), (("60", "37"), False)])
def test_power_of_the_whole_fixture_is_taken_beside_its_channels(
    read: ReadFixture, own: tuple[str, str], shared: bool
) -> None:
    """It may stand alone, beside some channels' own, and within 5 % of the sum of all."""
    watts = [f"electrical_w = {w}\n" if w else "" for w in own]
    more = watts[0] + CHANNEL.replace("blue", "white") + watts[1]
    kind, files = read(more, HEAD + "electrical_w = 95\n")
    assert kind is not None
    assert kind.electrical_w == 95
    assert any("shared among channels" in said for said in files.understood) is shared


@pytest.mark.identity
@pytest.mark.parametrize(
    ("own", "allowed"),
    [(("60", "30"), "within 5 % of the sum"), (("95", ""), "above 95 W, for all channels")],
)
def test_power_of_the_whole_fixture_that_contradicts_its_channels_is_refused(
    read: ReadFixture, own: tuple[str, str], allowed: str
) -> None:
    """More than 5 % off the sum of all, or nothing left for the others."""
    watts = [f"electrical_w = {w}\n" if w else "" for w in own]
    more = watts[0] + CHANNEL.replace("blue", "white") + watts[1]
    problem = problem_of(read(more, HEAD + "electrical_w = 95\n"))
    assert problem.place is not None
    assert problem.place.line == 3
    assert allowed in problem.allowed


@pytest.mark.identity
def test_each_form_of_spectrum_is_read(read: ReadFixture) -> None:
    """Peak and width, file, file with its quantity, library, and a mix of them."""
    forms = {
        "peak": "{ peak_nm = 660, fwhm_nm = 18 }",
        "file": '{ file = "blue.csv" }',
        "photons": '{ file = "blue.csv", quantity = "power" }',
        "library": '{ library = "blue-470" }',
        "mix": '{ mix = [ { library = "white-led-b3", share = 0.7 }, '
        "{ peak_nm = 445, fwhm_nm = 20, share = 0.3 } ] }",
    }
    text = "".join(f'[[channel]]\nname = "{k}"\nspectrum = {v}\n' for k, v in forms.items())
    kind, files = read(channel=text)
    assert kind is not None, files.problems
    spectra = {c.name: c.spectrum for c in kind.channels}
    assert spectra["peak"] == LedPeak(660, 18)
    assert isinstance(spectra["file"], SpectralDistribution)
    assert spectra["file"].wavelength_nm.tolist() == [430, 445, 460]
    assert spectra["library"] is read_emitter("blue-470")
    mix = spectra["mix"]
    assert isinstance(mix, SpectrumMix)
    assert [share for _, share in mix.parts] == [0.7, 0.3]
    assert mix.parts[1][0] == LedPeak(445, 20)
    assert "panel: library spectra blue-470, white-led-b3" in files.understood
    assert sum("blue.csv: 3 values, 430-460 nm" in sentence for sentence in files.understood) >= 1


@pytest.mark.identity
def test_beam_width_table_and_dimming_are_read(read: ReadFixture) -> None:
    """Percent in the file, 0-1 inside; a beam table stays as written."""
    more = (
        "beam = { table = [[0, 1], [30, 0.8], [60, 0]] }\ndimming = [[0, 0], [10, 7], [50, 46], [100, 100]]\n"
    )
    kind, _ = read(more)
    assert kind is not None
    beam, dimming = kind.channels[0].beam, kind.channels[0].dimming
    assert isinstance(beam, TabulatedLobe)
    assert (beam.angle_deg.tolist(), beam.relative.tolist()) == ([0, 30, 60], [1, 0.8, 0])
    assert isinstance(dimming, DimmingCurve)
    np.testing.assert_allclose(dimming.level, [0, 0.1, 0.5, 1], rtol=1e-15)
    np.testing.assert_allclose(dimming.output, [0, 0.07, 0.46, 1], rtol=1e-15)
    kind, _ = read("beam = { fwhm_deg = 90 }\n")
    assert kind is not None
    assert kind.channels[0].beam == CosineLobe(90.0)


@pytest.mark.identity
def test_beam_of_a_photometric_file_is_read_once_for_all_channels(read: ReadFixture, tmp_path: Path) -> None:
    """An invented symmetric IES file beside the fixture; its slips keep their own line."""
    two = CHANNEL + 'beam = { file = "beam.ies" }\n' + CHANNEL.replace("blue", "royal")
    kind, files = read(channel=two, more='beam = { file = "beam.ies" }\n')
    assert kind is not None
    beams = [channel.beam for channel in kind.channels]
    assert isinstance(beams[0], PhotometricLobe)
    assert beams[0] is beams[1]
    assert beams[0].gamma_deg.tolist() == [0, 45, 90]
    np.testing.assert_allclose(beams[0].relative[0] / beams[0].relative[0, 0], [1, 0.7, 0], rtol=1e-12)
    assert sum("beam.ies: " in sentence for sentence in files.understood) == 1
    (tmp_path / "bad.ies").write_text(IES.replace("TILT=NONE", "TILT=INCLUDE"), encoding="utf-8")
    problem = problem_of(read('beam = { file = "bad.ies" }\n'))
    assert problem.place is not None
    assert (os.path.basename(problem.place.file), problem.place.line) == ("bad.ies", 2)
    assert ".ies" in problem_of(read('beam = { file = "blue.csv" }\n')).allowed


SLIPS = [
    (
        "photon_flux_umol_s = 62\nppf_umol_s = 60",
        7,
        "the light is stated twice: photon_flux_umol_s and ppf_umol_s",
        "keep the one",
    ),
    (
        "radiant_flux_w = 6\nelectrical_w = 9\nradiant_efficiency = 0.4",
        8,
        "the light is stated twice: radiant_flux_w and",
        "keep the one",
    ),
    ("radiant_efficiency = 0.4", 6, "radiant_efficiency stands without electrical_w", "add electrical_w"),
    (
        "electrical_w = 24\nradiant_efficiency = 45",
        7,
        "radiant_efficiency: 45 is outside the range",
        "write 0.45 for 45 %",
    ),
    (
        'electrical_w = 24\nradiant_efficiency = "usual"',
        7,
        'radiant_efficiency: "usual" is not a radiant efficiency',
        "",
    ),
    ("photon_flux_umol_s = 0", 6, "photon_flux_umol_s: 0 is outside the range", ""),
    ("photon_flux_umol_s = -3", 6, "photon_flux_umol_s: -3 is outside the range", ""),
    ("photon_flux_umol_s = true", 6, "photon_flux_umol_s: true is not a number", ""),
    (
        'photon_flux_umol_s = "62"',
        6,
        'photon_flux_umol_s: "62" is not a number',
        "write 62, without quotation marks",
    ),
    ("photon_flux_umol = 62", 6, "the key photon_flux_umol is not known", "did you mean photon_flux_umol_s?"),
    ("beam = 90", 6, "beam: 90 is not a table", "write { fwhm_deg = 90 }"),
    ("beam = {}", 6, "beam: none of its forms is given", ""),
    ("beam = { fwhm_deg = 200 }", 6, "beam fwhm_deg: 200 is outside the range", ""),
    ('beam = { fwhm_deg = 90, file = "x.ies" }', 6, "beam: fwhm_deg and file stand together", ""),
    ("beam = { table = [[10, 1], [30, 0]] }", 6, "beam table[1][1]: the angles begin at 10, not at 0", ""),
    ("beam = { table = [[0, 1], [30, 0.5], [30, 0]] }", 6, "beam table[3][1]: 30 deg does not rise", ""),
    ("beam = { table = [[0, 1], [95, 0]] }", 6, "beam table[2][1]: 95 deg is outside 0 to 90 deg", ""),
    ("beam = { table = [[0, 1], [60, -1]] }", 6, "beam table[2][2]: -1 is below 0", ""),
    ("beam = { table = [[0, 0], [60, 0]] }", 6, "beam table: every intensity is 0", ""),
    ("beam = { table = [[0, 1]] }", 6, "beam table: 1 points", ""),
    ("dimming = [[0, 0], [50, 60], [40, 70], [100, 100]]", 6, "dimming[3][1]: level 40 does not rise", ""),
    ("dimming = [[0, 0], [50, 60], [80, 50], [100, 100]]", 6, "dimming[3][2]: output 50 falls", ""),
    ("dimming = [[0, 0], [90, 100]]", 6, "dimming[2][1]: the levels end at 90, not at 100", ""),
    (
        "dimming = [[0, 0], [1, 1]]",
        6,
        "dimming[2][1]: the levels end at 1, not at 100",
        "write percent, not fractions",
    ),
    ("dimming = [[0, 0], [100, 90]]", 6, "dimming[2][2]: output 90 at level 100, not 100", ""),
    ("dimming = [[5, 0], [100, 100]]", 6, "dimming[1][1]: the levels begin at 5, not at 0", ""),
    (
        "dimming = [[0, 0], [0,5, 3], [100, 100]]",
        6,
        "dimming: point 2 is not a pair of numbers",
        "decimals have a point",
    ),
    ('dimming = "linear"', 6, 'dimming: "linear" is not a list of points', ""),
    (
        '[[channel]]\nname = "blue"\nspectrum = { library = "blue-470" }',
        7,
        'name: "blue" names channel 1 already',
        "",
    ),
    (
        '[[channel]]\nname = "time"\nspectrum = { library = "blue-470" }',
        7,
        'name: "time" is a reserved name',
        "name it anew",
    ),
    ('[[channel]]\nname = "c"', 6, "the key spectrum is missing", "add spectrum = "),
    (
        '[[channel]]\nname = "c"\nspectrum = { peak_nm = 445 }',
        8,
        "spectrum: the key fwhm_nm is missing",
        "add fwhm_nm = 20",
    ),
    (
        '[[channel]]\nname = "c"\nspectrum = { peak_nm = 0.445, fwhm_nm = 20 }',
        8,
        "spectrum peak_nm: 0.445 is outside the range",
        "",
    ),
    (
        '[[channel]]\nname = "c"\nspectrum = { library = "blue-447" }',
        8,
        "the library has no emitter 'blue-447'",
        "did you mean",
    ),
    (
        '[[channel]]\nname = "c"\nspectrum = { file = "bleu.csv" }',
        8,
        'no file "bleu.csv"',
        "did you mean blue.csv?",
    ),
    (
        '[[channel]]\nname = "c"\nspectrum = { file = "blue.csv", quantity = "watts" }',
        8,
        'spectrum quantity: "watts" is not known here',
        "",
    ),
    ('[[channel]]\nname = "c"\nspectrum = "blue-470"', 8, 'spectrum: "blue-470" is not a table', ""),
    (
        '[[channel]]\nname = "c"\nspectrum = { mix = [] }',
        8,
        "spectrum mix: a list [ ... ] is not a list of 1 to 100 spectra",
        "",
    ),
    (
        '[[channel]]\nname = "c"\nspectrum = { mix = [ { library = "blue-470" } ] }',
        8,
        "mix[1]: the key share is missing",
        "add share = 0.7",
    ),
    (
        '[[channel]]\nname = "c"\nspectrum = { mix = [ { mix = [] , share = 1 } ] }',
        8,
        "mix[1]: a mix inside a mix",
        "",
    ),
]


@pytest.mark.pinned
@pytest.mark.parametrize(("more", "line", "found", "cure"), SLIPS, ids=[s[2][:40] for s in SLIPS])
def test_slip_in_a_channel_is_one_problem_at_its_line(
    read: ReadFixture, more: str, line: int, found: str, cure: str
) -> None:
    """Where, what was found, and how to mend it."""
    problem = problem_of(read(more + "\n"))
    assert found in problem.found
    assert problem.place is not None
    assert problem.place.line == line
    assert cure in problem.cure
    assert bool(cure) == bool(problem.cure)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("channel", "head", "found"),
    [
        ("", HEAD, "the key channel is missing"),
        ("channel = []\n", HEAD, "channel: a list [ ... ] is not a list of channels"),
        (CHANNEL.replace("[[channel]]", "[channel]"), HEAD, "channel: one pair of brackets"),
        (CHANNEL, HEAD.replace('name = "panel"', ""), "the key name is missing"),
        (CHANNEL, HEAD + 'aperture = "40 cm"\n', 'aperture: "40 cm" is not a table'),
        (CHANNEL, HEAD + 'aperture = { length = "40 cm" }\n', "aperture: the key width is missing"),
        (
            CHANNEL,
            HEAD + 'emitters = { count = 2.5, diameter = "8 mm" }\n',
            "emitters count: 2.5 is not a whole number",
        ),
        (
            CHANNEL,
            HEAD + 'emitters = { count = 0, diameter = "8 mm" }\n',
            "emitters count: 0 is outside the range",
        ),
        (CHANNEL, HEAD + 'colour = "x"\n', "the key colour is not known"),
    ],
)
def test_slip_in_the_head_of_a_fixture_file_is_named(
    read: ReadFixture, channel: str, head: str, found: str
) -> None:
    """The tables around the channels."""
    assert problem_of(read(channel=channel, head=head)).found == found


@pytest.mark.identity
def test_all_problems_of_a_fixture_file_are_collected(read: ReadFixture) -> None:
    """Three channels with four slips: four problems."""
    text = (
        '[[channel]]\nname = "a"\nspectrum = { peak_nm = 4450, fwhm_nm = 20 }\nbeam = 3\n'
        '[[channel]]\nname = "b"\nspectrum = { library = "nothing" }\n'
        '[[channel]]\nspectrum = { library = "blue-470" }\n'
    )
    kind, files = read(channel=text)
    assert kind is None
    assert sorted(p.place.line for p in files.problems if p.place) == [5, 6, 9, 10]


@pytest.mark.identity
def test_spectrum_with_problems_keeps_its_own_places(read: ReadFixture, tmp_path: Path) -> None:
    """A slip inside a spectrum file stands at that file's line, once, however many channels use it."""
    (tmp_path / "bad.csv").write_text("wavelength_nm,relative_power\n430,0\n445,x\n460,1\n", encoding="utf-8")
    text = "".join(f'[[channel]]\nname = "{n}"\nspectrum = {{ file = "bad.csv" }}\n' for n in "ab")
    problem = problem_of(read(channel=text))
    assert problem.place is not None
    assert (os.path.basename(problem.place.file), problem.place.line) == ("bad.csv", 3)


@pytest.mark.identity
def test_problems_raise_as_one_setup_error(read: ReadFixture) -> None:
    """What was collected becomes one error, each problem once."""
    _, files = read("beam = 3\n")
    files.problems *= 2
    with pytest.raises(SetupError) as caught:
        files.finish()
    assert len(caught.value.problems) == 1
