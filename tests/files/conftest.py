"""A small sound setup in a folder, for tests that spoil one thing of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

SETUP = """\
format = "lightdose-setup/1"
title = "Test tank (invented)"
[tank]
length = "75 cm"
width = "45 cm"
water_depth = "40 cm"
[[fixture]]
name = "left"
type = "panel.toml"
at = { x = "22 cm", y = "22 cm", height = "20 cm" }
schedule = "daily.csv"
"""
FIXTURE = """\
format = "lightdose-fixture/1"
name = "test panel (invented)"
[[channel]]
name = "blue"
spectrum = { peak_nm = 445, fwhm_nm = 20 }
photon_flux_umol_s = 62
[[channel]]
name = "white"
spectrum = { library = "white-led-b4" }
ppf_umol_s = 20
"""
SCHEDULE = "time,blue,white\n08:00,0,0\n09:00,60,20\n17:00,60,20\n18:00,0,0\n"

WriteSetup = Callable[..., Path]


@pytest.fixture
def write_setup(tmp_path: Path) -> WriteSetup:
    """Writes the sound setup with additions or other files; gives the path of setup.toml."""

    def write(
        more: str = "", *, setup: str = SETUP, fixture: str = FIXTURE, schedule: str = SCHEDULE, **files: str
    ) -> Path:
        contents = {"setup.toml": setup + more, "panel.toml": fixture, "daily.csv": schedule}
        for name, text in (contents | {k.replace("__", "."): v for k, v in files.items()}).items():
            (tmp_path / name).write_text(text, encoding="utf-8")
        return tmp_path / "setup.toml"

    return write
