"""Every table of ``spectra/`` has its header, its row in SOURCES.toml, its hash, and its origin script."""

from __future__ import annotations

import hashlib
import importlib.util
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

SPECTRA = Path(__file__).resolve().parents[1] / "spectra"
DATA = SPECTRA.parent / "lightdose" / "data"
HEADER_KEYS = ("title", "quantity", "unit", "source", "licence", "obtained", "valid range")
FILES = sorted(path.relative_to(SPECTRA).as_posix() for path in SPECTRA.rglob("*.csv"))


def sources() -> dict[str, dict[str, str]]:
    """Rows of SOURCES.toml by path."""
    rows = tomllib.loads((SPECTRA / "SOURCES.toml").read_text(encoding="utf-8"))["file"]
    assert len({row["path"] for row in rows}) == len(rows)
    return {row["path"]: row for row in rows}


def generator() -> ModuleType:
    """``tests/make_spectra.py`` as a module."""
    spec = importlib.util.spec_from_file_location("make_spectra", Path(__file__).parent / "make_spectra.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_spectra"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.identity
def test_sources_and_files_are_the_same_set():
    """Every file has a row and every row has a file; nothing else lies in the folder."""
    assert sorted(sources()) == FILES
    others = {p.relative_to(SPECTRA).as_posix() for p in SPECTRA.rglob("*") if p.is_file()} - set(FILES)
    assert others == {"SOURCES.toml"}


@pytest.mark.identity
@pytest.mark.parametrize("path", FILES)
def test_file_matches_its_row_and_carries_its_header(path):
    """Hash, origin and the header lines of one table."""
    row = sources()[path]
    data = (SPECTRA / path).read_bytes()
    assert hashlib.sha256(data).hexdigest() == row["sha256"]
    assert row["origin"] in ("measured", "standard table", "modelled by us")
    assert all(row[key] for key in ("title", "citation", "licence"))
    lines = data.decode("utf-8").splitlines()
    header = [line[2:].split(": ", 1) for line in lines if line.startswith("# ")]
    keys = [key for key, *_ in header]
    assert keys[: len(HEADER_KEYS)] == list(HEADER_KEYS)
    assert all(value for _, value in header)
    columns = lines[len(header)]
    gaussians = {
        "zooxanthella/published.csv": "curve,study,height,centre_nm,fwhm_nm",
        "zooxanthella/gaussians.csv": "curve,height,centre_nm,fwhm_nm",
    }
    assert columns == gaussians.get(path, "wavelength_nm,value")


@pytest.mark.identity
@pytest.mark.parametrize("path", [p for p in FILES if not p.startswith("zooxanthella/")])
def test_table_rises_in_wavelength_and_is_not_negative(path):
    """A table can be integrated as it stands."""
    lines = (SPECTRA / path).read_text(encoding="utf-8").splitlines()
    rows = [line for line in lines if not line.startswith(("#", "wavelength"))]
    nodes, values = np.loadtxt(rows, delimiter=",").T
    assert np.all(np.diff(nodes) > 0)
    assert np.all(values >= 0)
    assert values.max() > 0


@pytest.mark.identity
def test_published_figures_of_the_package_match_their_rows():
    """Every row of lightdose/data/SOURCES.toml names a file with its hash, citation, licence and origin."""
    rows = tomllib.loads((DATA / "SOURCES.toml").read_text(encoding="utf-8"))["file"]
    assert len({row["path"] for row in rows}) == len(rows) > 0
    for row in rows:
        assert hashlib.sha256((DATA / row["path"]).read_bytes()).hexdigest() == row["sha256"], row["path"]
        assert row["origin"] in ("measured", "standard table", "modelled by us")
        assert all(row[key] for key in ("title", "citation", "licence"))


@pytest.mark.identity
def test_files_are_what_their_script_writes():
    """The committed tables come out of tests/make_spectra.py byte for byte, so their origin is on record."""
    made = generator().tables()
    assert sorted(table.path for table in made) == FILES
    for table in made:
        assert (SPECTRA / table.path).read_text(encoding="utf-8") == table.text(), table.path
    written = (SPECTRA / "SOURCES.toml").read_text(encoding="utf-8")
    assert written == generator().sources_toml(made)
