"""[meter.NAME] tables: what a keeper's meter is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from lightdose.errors import Problem, SetupError
from lightdose.files.setup_file import read_setup
from lightdose.model.spectrum import SENSOR_SHAPES, Meter, SpectralDistribution, SpectralTable

WriteSetup = Callable[..., Path]


def only_problem(path: Path) -> Problem:
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    (problem,) = caught.value.problems
    return problem


@pytest.mark.identity
def test_meter_takes_every_default(write_setup: WriteSetup) -> None:
    """Ideal for what it reads, calibrated on A, immersion unknown to us, 2.5 %; what was assumed is said."""
    setup = read_setup(write_setup('[meter.a]\nreads = "umol"\n[meter."b 2"]\nreads = "lux"\n'))
    assert set(setup.meters) == {"a", "b 2"}
    meter = setup.meters["a"]
    assert (meter.name, meter.reads, meter.response) == ("a", "umol", "ideal")
    assert (meter.calibrated_on, meter.immersion, meter.standard_uncertainty) == ("A", None, 0.025)
    assert setup.meters["b 2"].response == "v-lambda"
    assert "meter a: no response given, ideal taken" in setup.understood


@pytest.mark.identity
@pytest.mark.parametrize("shape", SENSOR_SHAPES)
@pytest.mark.parametrize(
    ("immersion", "value"), [("1.32", 1.32), ('"built in"', "built in"), ('"unknown"', "unknown")]
)
def test_meter_takes_every_shape_and_immersion(
    write_setup: WriteSetup, shape: str, immersion: str, value: object
) -> None:
    """The sensor shapes of the model and the three forms of immersion."""
    text = (
        f'[meter.m]\nreads = "umol"\nresponse = {{ shape = "{shape}" }}\nimmersion = {immersion}\n'
        "standard_uncertainty = 0.05\n"
    )
    meter = read_setup(write_setup(text)).meters["m"]
    assert (meter.response, meter.immersion, meter.standard_uncertainty) == (shape, value, 0.05)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("written", "value"),
    [("A", "A"), ("d65", "D65"), ("led-b3", "LED-B3"), ("LED-V2", "LED-V2"), ("unknown", "unknown")],
)
def test_calibration_source_is_an_illuminant_of_the_cie(
    write_setup: WriteSetup, written: str, value: str
) -> None:
    """A, D65, the LED illuminants of CIE 015:2018, or unknown, whatever the capitals."""
    text = f'[meter.m]\nreads = "lux"\ncalibrated_on = "{written}"\n'
    assert read_setup(write_setup(text)).meters["m"].calibrated_on == value


@pytest.mark.identity
def test_response_and_source_may_be_files(write_setup: WriteSetup) -> None:
    """A sensor's own response, and the spectrum of the lamp it was calibrated on."""
    text = (
        '[meter.m]\nreads = "umol"\nresponse = { file = "sensor.csv" }\n'
        'calibrated_on = { file = "lamp.csv" }\n'
    )
    path = write_setup(
        text,
        sensor__csv="wavelength_nm,response\n400,0.9\n700,1\n",
        lamp__csv="wavelength_nm,relative_power\n400,1\n700,2\n",
    )
    meter: Meter = read_setup(path).meters["m"]
    assert isinstance(meter.response, SpectralTable)
    assert isinstance(meter.calibrated_on, SpectralDistribution)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "found", "cure"),
    [
        ('[meter]\nreads = "umol"\n', "meter: a meter needs a name", "write [meter.handheld]"),
        ("[meter.m]\n", "meter m: the key reads is missing", 'add reads = "umol"'),
        ('[meter.m]\nreads = "par"\n', 'meter m reads: "par" is not known here', ""),
        (
            '[meter.m]\nreads = "umol"\nresponse = "soft"\n',
            'meter m response: "soft" is no response',
            'write { shape = "soft" }',
        ),
        (
            '[meter.m]\nreads = "umol"\nresponse = { shape = "sofd" }\n',
            'meter m response shape: "sofd" is not known here',
            "did you mean soft?",
        ),
        ('[meter.m]\nreads = "umol"\nresponse = { file = "no.csv" }\n', 'no file "no.csv"', ""),
        (
            '[meter.m]\nreads = "umol"\nresponse = [1]\n',
            "meter m response: a list [ ... ] is no response",
            "",
        ),
        (
            '[meter.m]\nreads = "umol"\ncalibrated_on = "sun"\n',
            'meter m calibrated_on: "sun" is not known here',
            "",
        ),
        ('[meter.m]\nreads = "umol"\nimmersion = 0.8\n', "meter m immersion: 0.8 is outside the range", ""),
        (
            '[meter.m]\nreads = "umol"\nimmersion = "yes"\n',
            'meter m immersion: "yes" is not an immersion factor',
            "",
        ),
        (
            '[meter.m]\nreads = "umol"\nstandard_uncertainty = 5\n',
            "meter m standard_uncertainty: 5 is outside the range",
            "",
        ),
    ],
)
def test_slip_in_a_meter_is_named(write_setup: WriteSetup, text: str, found: str, cure: str) -> None:
    """One slip, one problem, with the shapes and lamps that are known."""
    problem = only_problem(write_setup(text))
    assert (problem.found, problem.cure) == (found, cure)
