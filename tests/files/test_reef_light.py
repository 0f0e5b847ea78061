"""The daily dose under the open sea: what the table stands on, and how depths are read out of it."""

from __future__ import annotations

import importlib.util
import sys
import warnings
from pathlib import Path
from types import ModuleType

import jerlov
import numpy as np
import pytest

from lightdose.errors import LightdoseError
from lightdose.files.reef_light import reef_light
from lightdose.model.light import ReefLight
from lightdose.physics.reef import reef_depths_m

REEF = reef_light()


def generator() -> ModuleType:
    """``tests/make_reef_light.py`` as a module."""
    path = Path(__file__).resolve().parents[1] / "make_reef_light.py"
    spec = importlib.util.spec_from_file_location("make_reef_light", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_reef_light"] = module
    spec.loader.exec_module(module)
    return module


MAKE = generator()


@pytest.mark.identity
def test_file_is_what_its_script_computes() -> None:
    """Header and columns to the letter; figures to 1e-3, which other versions of the libraries may move."""
    shipped, made = MAKE.FILE.read_text(encoding="utf-8").splitlines(), MAKE.text().splitlines()
    head = 1 + sum(line.startswith("#") for line in made)
    assert shipped[:head] == made[:head]
    figures = [np.array([line.split(",") for line in lines[head:]], dtype=float) for lines in (shipped, made)]
    np.testing.assert_allclose(*figures, rtol=1e-3)


@pytest.mark.published
@pytest.mark.parametrize(
    ("water", "expected_per_m"),
    [
        ("I", {450: 0.019, 475: 0.018, 500: 0.027}),
        ("IB", {450: 0.036, 475: 0.033, 500: 0.042}),
        ("II", {450: 0.068, 475: 0.062, 500: 0.070}),
        ("III", {450: 0.135, 475: 0.116, 500: 0.115}),
        ("1C", {450: 0.25, 475: 0.17, 500: 0.14}),
        ("3C", {450: 0.39, 475: 0.29, 500: 0.22}),
    ],
)
def test_attenuation_is_that_of_the_named_water(water: str, expected_per_m: dict[int, float]) -> None:
    """Diffuse attenuation of the water types that the table is made of, at named wavelengths."""
    # Source: Jerlov 1976, Marine Optics, Table XXVII, as tabulated in the package jerlov 0.22.0.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        kd = jerlov.water(water, "jerlov1976").kd(np.array(list(expected_per_m), dtype=float))
    assert kd.tolist() == pytest.approx(list(expected_per_m.values()), rel=1e-9)


@pytest.mark.published
def test_clear_waters_lie_on_both_sides_of_a_measured_outer_reef() -> None:
    """From 1 to 45 m light falls less in type IB, and more in type II, than was measured on a reef."""
    # Source: Chalker, Dunlap & Oliver 1983: 82.6 and 2.9 % of the surface at 1 and 45 m.
    fall = {water: (d := MAKE.doses(11.5, 80, water))[45] / d[1] for water in MAKE.WATERS["clear"]}
    assert fall["II"] < 2.9 / 82.6 < fall["IB"]


@pytest.mark.published
def test_fresnel_of_the_surface_has_its_closed_values() -> None:
    """Light that comes straight down loses 2.04 % at an index of 1.333, by the formula that is used."""
    # Source: Born & Wolf, Principles of Optics, 1.5: ((n - 1)/(n + 1))^2.
    n = MAKE.SEA_INDEX
    assert 1 - MAKE.let_through(np.array([0.0]))[0] == pytest.approx(((n - 1) / (n + 1)) ** 2, rel=1e-12)
    assert MAKE.let_through(np.array([89.9]))[0] < 0.02


@pytest.mark.identity
def test_depth_is_where_the_table_gives_that_dose() -> None:
    """At the nodes of the table its doses come back as their depths; between them depth falls with dose."""
    for water, doses in REEF.doses_mol_m2_d.items():
        for end in (0, 1):
            found = reef_depths_m(doses[1:60, end], REEF)[water][:, end]
            np.testing.assert_allclose(found, REEF.depth_m[1:60], rtol=1e-9)
        fine = reef_depths_m(np.geomspace(1.0, 30.0, 50), REEF)[water]
        assert (np.diff(fine, axis=0) <= 0).all()
        assert (fine[:, 0] < fine[:, 1]).all()


@pytest.mark.identity
def test_dose_beyond_the_table_is_said_not_made_up() -> None:
    """Darkness and more than any surface have no depth; less than 100 m gives has no deep end."""
    depths = reef_depths_m(np.array([0.0, 100.0, 45.0, 1e-6]), REEF)["clear"]
    assert np.isnan(depths[:2]).all()
    assert depths[2, 0] == 0.0
    assert 0 < depths[2, 1] < 3
    assert depths[3, 0] == 100.0
    assert np.isnan(depths[3, 1])


@pytest.mark.identity
def test_table_that_does_not_fall_is_refused() -> None:
    """Light that grows with depth, or is 0, cannot be turned into a depth."""
    for doses in ([[1.0, 2.0], [1.0, 1.0]], [[1.0, 2.0], [0.0, 1.0]]):
        with pytest.raises(LightdoseError, match="fall with depth"):
            ReefLight(np.array([0.0, 1.0]), {"clear": np.array(doses)})
