"""The wheel carries its data: built, unpacked bare, and used from another folder."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lightdose.guide import TOPICS

ROOT = Path(__file__).resolve().parents[1]


@pytest.mark.wheel
@pytest.mark.identity
def test_wheel_used_from_another_folder_computes_the_example(tmp_path: Path) -> None:
    """Commands work from the wheel alone: spectra, groups, example, pages and languages are in it."""
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q"]
    subprocess.run(
        [*pip, "wheel", "--no-deps", "--no-build-isolation", "-w", str(tmp_path / "wheel"), str(ROOT)],
        check=True, capture_output=True,
    )  # fmt: skip
    (wheel,) = (tmp_path / "wheel").glob("lightdose-*.whl")
    site = tmp_path / "site"
    subprocess.run(
        [*pip, "install", "--no-deps", "--no-index", "--target", str(site), str(wheel)],
        check=True, capture_output=True,
    )  # fmt: skip
    env = {**os.environ, "PYTHONPATH": str(site)}
    here = tmp_path / "elsewhere"
    here.mkdir()

    def run(*words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "lightdose", *words],
            cwd=here, env=env, capture_output=True, text=True, check=True,
        )  # fmt: skip
        return done.stdout

    where = subprocess.run(
        [sys.executable, "-c", "import lightdose; print(lightdose.__file__)"],
        cwd=here, env=env, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert str(site) in where.stdout
    run("init", "tank")
    assert '"lightdose-dose/1"' in run("dose", "tank/setup.toml", "--json")
    assert "sps-shallow" in run("groups")
    assert "blue-445" in run("spectrum", "blue-445")
    assert [line.split()[0] for line in run("guide").splitlines()] == list(TOPICS)
    run("slip", "tank/setup.toml", "zoanthid plug", "--language", "fr", "-o", "slip.html", "--quiet")
    assert "traduit par nos soins" in (here / "slip.html").read_text(encoding="utf-8")
    weighed = "from lightdose.desk.page import page; print(len(page()[0]))"
    page = subprocess.run(
        [sys.executable, "-c", weighed], cwd=here, env=env, capture_output=True, text=True, check=True
    )
    assert int(page.stdout) > 50_000
    assert run("selftest").splitlines()[-1].endswith("checks passed.")


IN_THE_WHEEL = {
    ".py": ("lightdose/",),
    ".toml": ("lightdose/data/", "lightdose/_first_tank/", "lightdose/_spectra/"),
    ".csv": ("lightdose/data/", "lightdose/_first_tank/", "lightdose/_spectra/"),
    ".json": ("lightdose/_first_tank/schemas/",),
    ".md": ("lightdose/guide/",),
    ".html": ("lightdose/present/templates/", "lightdose/desk/templates/"),
    ".css": ("lightdose/present/templates/", "lightdose/desk/templates/"),
    ".js": ("lightdose/present/templates/", "lightdose/desk/templates/"),
    ".po": ("lightdose/languages/",),
    ".mo": ("lightdose/languages/",),
    ".typed": ("lightdose/",),
}
"""Kinds of files -> where in the wheel they may lie; besides them the wheel's own notes."""

AT_THE_TOP = {
    *("lightdose", "spectra", "examples", "tests"),
    *("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", "PKG-INFO", ".gitignore"),
    "CITATION.cff",
}
"""What an sdist holds."""


@pytest.mark.wheel
@pytest.mark.identity
def test_wheel_and_sdist_hold_what_belongs_there_and_nothing_else(tmp_path: Path) -> None:
    """Every file is of a kind and in a place that is listed; nothing of caches or the builder's folder."""
    import tarfile
    import zipfile

    subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-d", str(tmp_path)],
        cwd=ROOT,
        capture_output=True,
        check=True,
    )  # fmt: skip
    (wheel,), (sdist,) = tmp_path.glob("*.whl"), tmp_path.glob("*.tar.gz")
    with zipfile.ZipFile(wheel) as archive:
        names = [name for name in archive.namelist() if ".dist-info/" not in name]
    strange = [n for n in names if not n.startswith(IN_THE_WHEEL.get(Path(n).suffix, ()))]
    assert strange == []
    with tarfile.open(sdist) as packed:
        inside = [name.split("/", 1)[1] for name in packed.getnames()]
    assert {name.split("/")[0] for name in inside} <= AT_THE_TOP
    shipped = {name for name in names if "/_first_tank/" not in name and "/_spectra/" not in name}
    assert shipped <= set(inside)
    assert not [
        name for name in (*names, *inside) if "__pycache__" in name or name.endswith((".pyc", ".tmp"))
    ]
