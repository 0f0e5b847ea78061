"""Channel spectra and ramp schedules in, the photons each coral gets in a day out."""

# Nothing is imported that the interpreter has not loaded by itself: see ``working_folder``.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from lightdose import plot
    from lightdose.analysis import Analysis, analyse, light_field, light_field_chunks
    from lightdose.errors import (
        InfeasibleError,
        LightdoseError,
        OutputError,
        ReadingsError,
        ScheduleError,
        SetupError,
        SpectrumError,
    )
    from lightdose.files.setup_file import read_setup
    from lightdose.model.setup import Setup
    from lightdose.model.spectrum import LedPeak as Led
    from lightdose.model.spectrum import SpectralDistribution as Spectrum
    from lightdose.python.parts import (
        Channel,
        Coral,
        Fixture,
        FixtureType,
        Meter,
        Programme,
        Rack,
        Rock,
        Site,
        Tank,
    )
    from lightdose.python.questions import (
        acclimate,
        calibrate,
        compare,
        dose,
        dose_at,
        history,
        light_map,
        match,
        move,
        place,
        sensitivity,
        spectrum_metrics,
        survey,
        tune,
    )
    from lightdose.python.reading import read_spectrum
    from lightdose.python.shown import Found

__version__ = "0.1.0"
__all__ = [
    "Analysis",
    "Channel",
    "Coral",
    "Fixture",
    "FixtureType",
    "Found",
    "InfeasibleError",
    "Led",
    "LightdoseError",
    "Meter",
    "OutputError",
    "Programme",
    "Rack",
    "ReadingsError",
    "Rock",
    "ScheduleError",
    "Setup",
    "SetupError",
    "Site",
    "Spectrum",
    "SpectrumError",
    "Tank",
    "__version__",
    "acclimate",
    "analyse",
    "calibrate",
    "compare",
    "dose",
    "dose_at",
    "history",
    "light_field",
    "light_field_chunks",
    "light_map",
    "match",
    "move",
    "place",
    "plot",
    "read_setup",
    "read_spectrum",
    "sensitivity",
    "spectrum_metrics",
    "survey",
    "tune",
]

_HOMES = {
    "analysis": "Analysis analyse light_field light_field_chunks",
    "errors": (
        "InfeasibleError LightdoseError OutputError ReadingsError ScheduleError SetupError SpectrumError"
    ),
    "files.setup_file": "read_setup",
    "model.setup": "Setup",
    "model.spectrum": "Led:LedPeak Spectrum:SpectralDistribution",
    "python.parts": "Channel Coral Fixture FixtureType Meter Programme Rack Rock Site Tank",
    "python.questions": (
        "acclimate calibrate compare dose dose_at history light_map match move place sensitivity "
        "spectrum_metrics survey tune"
    ),
    "python.shown": "Found",
    "python.reading": "read_spectrum",
}
_HOME_OF = {word.partition(":")[0]: (home, word) for home, words in _HOMES.items() for word in words.split()}


def __getattr__(name: str) -> "Any":
    """Load a public name from its home on first use, so that ``--help`` stays quick (PEP 562)."""
    if name not in _HOME_OF and name != "plot":
        raise AttributeError(f"module 'lightdose' has no attribute {name!r}")
    from importlib import import_module

    if name == "plot":
        return import_module("lightdose.plot")
    home, word = _HOME_OF[name]
    value = getattr(import_module(f"lightdose.{home}"), word.rpartition(":")[2])
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
