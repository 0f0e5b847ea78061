"""Channel spectra and ramp schedules in, the photons each coral gets in a day out."""

# Nothing is imported that the interpreter has not loaded by itself: see ``working_folder``.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

    from lightdose.analysis import Analysis, analyse, light_field, light_field_chunks
    from lightdose.errors import LightdoseError
    from lightdose.files.setup_file import read_setup
    from lightdose.model.setup import Setup
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
        read_spectrum,
        sensitivity,
        spectrum_metrics,
        survey,
        tune,
    )
    from lightdose.python.shown import Found

__version__ = "0.1.0"
__all__ = [
    "Analysis",
    "Found",
    "LightdoseError",
    "Setup",
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
    "read_setup",
    "read_spectrum",
    "sensitivity",
    "spectrum_metrics",
    "survey",
    "tune",
]
_QUESTIONS = (
    "acclimate calibrate compare dose dose_at history light_map match move place read_spectrum sensitivity "
    "spectrum_metrics survey tune"
)

_HOMES = {
    **dict.fromkeys(_QUESTIONS.split(), "lightdose.python.questions"),
    "Analysis": "lightdose.analysis",
    "Found": "lightdose.python.shown",
    "LightdoseError": "lightdose.errors",
    "Setup": "lightdose.model.setup",
    "analyse": "lightdose.analysis",
    "light_field": "lightdose.analysis",
    "light_field_chunks": "lightdose.analysis",
    "read_setup": "lightdose.files.setup_file",
}


def __getattr__(name: str) -> "Any":
    """Load a public name from its home on first use, so that ``--help`` stays quick (PEP 562)."""
    if name not in _HOMES:
        raise AttributeError(f"module 'lightdose' has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
