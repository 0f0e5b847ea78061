"""Every figure comes back as a figure, on the caller's where one is given; nothing is shown or saved."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure

import lightdose
from lightdose import plot

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture(scope="module")
def results() -> dict[str, Any]:
    """One result of each kind, of a small tank without rock."""
    setup = lightdose.read_setup(EXAMPLES / "mixed-blue")
    crest = setup.sites[0]
    free = lightdose.Site("free", crest.x_m, crest.y_m, crest.depth_m - 0.005)
    setup = setup.changed(sites=[*setup.sites, free])
    before, coral = setup.changed(all_channels=60), setup.corals[0]
    diary = lightdose.read_setup(EXAMPLES / "two-years")
    first = EXAMPLES / "first-tank"
    return {
        "analysis": lightdose.analyse(setup, draws=300),
        "light_map": lightdose.light_map(setup, depths=["10 cm", "20 cm"], cell=0.05),
        "comparison": lightdose.compare(setup, before),
        "tuning": lightdose.tune(setup),
        "placement": lightdose.place(setup, moves=1),
        "move": lightdose.move(setup, coral.name, "free"),
        "acclimation": lightdose.acclimate(before, setup),
        "match": lightdose.match(setup, before, {setup.sites[0].name: setup.sites[0].name}),
        "calibration": lightdose.calibrate(first, first / "readings.csv", date="2026-03-14"),
        "sensitivity": lightdose.sensitivity(setup),
        "history": lightdose.history(diary),
    }


FIGURES: dict[str, Callable[[dict[str, Any], Figure | None], Any]] = {
    **{
        name: lambda r, fig, name=name: getattr(plot, name)(r["analysis"], fig=fig)  # type: ignore[misc]
        for name in ("doses", "tank", "day", "spectrum", "schedule")
    },
    **{
        name: lambda r, fig, name=name: getattr(plot, name)(r[name], fig=fig)  # type: ignore[misc]
        for name in (
            "comparison", "tuning", "placement", "move", "acclimation", "match", "calibration", "sensitivity",
            "history",
        )
    },
    "light_map": lambda r, fig: plot.light_map(r["light_map"], fig=fig, page=2),
    "spectra": lambda _, fig: plot.spectra("blue-445", "white-led-b3", fig=fig),
}  # fmt: skip


@pytest.mark.identity
@pytest.mark.parametrize("name", sorted(FIGURES))
def test_figure_is_returned_on_the_one_that_is_given(name: str, results: dict[str, Any]) -> None:
    """The caller's figure takes size and content; without one a new figure holds the same."""
    own = Figure(figsize=(3, 2))
    own.text(0.5, 0.5, "old")
    given, made = FIGURES[name](results, own), FIGURES[name](results, None)
    assert given is own
    assert made is not own
    assert tuple(given.get_size_inches()) == tuple(made.get_size_inches())
    for one in (given, made):
        assert one.axes
    assert [t.get_text() for t in given.texts] == [t.get_text() for t in made.texts]
    assert "old" not in [t.get_text() for t in given.texts]


@pytest.mark.identity
def test_every_figure_is_tried() -> None:
    """The list above is the list of the module."""
    assert sorted(plot.__all__) == sorted(FIGURES)


@pytest.mark.identity
def test_single_panels_go_onto_axes(results: dict[str, Any]) -> None:
    """A day and a map stand on axes of the caller's, with their units."""
    left, right = Figure(figsize=(9, 4)).subplots(1, 2)
    assert plot.day(results["analysis"], [results["analysis"].setup.sites[0].name], ax=left) is left
    assert plot.light_map(results["light_map"], ax=right) is right
    assert "umol" in left.get_ylabel() or "mol" in left.get_ylabel()
    assert len(left.lines) >= 2
    assert (right.get_xlabel(), right.get_ylabel()) == ("x, m", "y, m")
    with pytest.raises(ValueError, match="page 3 of 2"):
        plot.light_map(results["light_map"], page=3)


@pytest.mark.identity
def test_no_window_and_no_state_of_others() -> None:
    """Drawing opens no window, and leaves the settings of matplotlib as they were."""
    code = (
        "import sys, matplotlib as mpl, lightdose; before = dict(mpl.rcParams); "
        "lightdose.plot.spectra('blue-445'); assert dict(mpl.rcParams) == before; "
        "pyplot = sys.modules.get('matplotlib.pyplot'); assert not pyplot or not pyplot.get_fignums()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
