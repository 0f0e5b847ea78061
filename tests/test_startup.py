"""What a command loads: start-up cost held as a property, not as a time."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

EXAMPLE = Path(__file__).resolve().parents[1] / "examples" / "first-tank" / "setup.toml"
PROBE = """
import sys
from lightdose.cli import cli
try:
    cli.main({args!r}, prog_name="lightdose")
except SystemExit as stop:
    assert stop.code == 0, stop.code
tops = {{name.split(".")[0] for name in sys.modules}} - set(sys.stdlib_module_names)
print("LOADED", *sorted(tops | sys.modules.keys() & {archives!r}))
"""

ARCHIVES = {"importlib.resources", "tempfile", "zipfile"}
"""Of the standard library: data that is asked for through archives costs a twentieth of a `dose`."""


def third_party_after(*args: str) -> set[str]:
    """Top-level modules outside the standard library, and of ``ARCHIVES``, that a command has loaded."""
    probe = PROBE.format(args=list(args), archives=ARCHIVES)
    run = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=True)
    line = run.stdout.strip().splitlines()[-1]
    assert line.startswith("LOADED")
    return {name for name in line.split()[1:] if not name.startswith(("_", "sitecustomize"))}


@pytest.mark.identity
@pytest.mark.parametrize("args", [["--help"], ["-h"], [], ["--version"]])
def test_help_loads_click_and_nothing_else(args: list[str]) -> None:
    """The help costs a bare click: no numpy, no pydantic, no plotting."""
    assert third_party_after(*args) <= {"lightdose", "click"}


@pytest.mark.identity
@pytest.mark.parametrize(
    "args", [["dose", str(EXAMPLE)], ["dose", str(EXAMPLE), "--json"], ["check", str(EXAMPLE)]]
)
def test_piped_dose_loads_only_numpy_and_pydantic(args: list[str]) -> None:
    """A piped dose loads neither scipy, pandas, matplotlib, colour nor rich."""
    loaded = third_party_after(*args)
    allowed = {
        "lightdose", "click", "numpy", "pydantic", "pydantic_core", "annotated_types", "typing_extensions",
        "typing_inspection",
        "cython_runtime",  # comes with numpy.random
    }  # fmt: skip
    assert loaded <= allowed
    assert "numpy" in loaded
