"""`hazard` in words and tables: behaviour first, a table that fits, what is not reached in words."""

from __future__ import annotations

from pathlib import Path

import pytest
from answers.printed import on_terminal

from lightdose.analysis import fixture_emission
from lightdose.answers.hazard import closing_line, hazard_answer
from lightdose.files.library import hazard_tables
from lightdose.files.setup_file import read_setup
from lightdose.judge.hazard import describe_hazard
from lightdose.model.results import Hazard, duration_words
from lightdose.physics.day_curve import day_curve

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


def hazard() -> Hazard:
    setup = read_setup(EXAMPLE)
    curve = day_curve(setup.lit_fixtures)
    return describe_hazard(setup, fixture_emission(setup), hazard_tables(), curve, "test")


def shown(width: int) -> str:
    return "\n".join(on_terminal(hazard_answer(hazard(), "cm").blocks, width))


@pytest.mark.identity
@pytest.mark.parametrize("width", [80, 120])
def test_behaviour_leads_and_lines_fit(width: int) -> None:
    """How to behave stands before any figure; no line is wider than the window; letters are ASCII."""
    text = shown(width)
    assert text.index("Do not look into the emitters") < text.index("Staring straight into it")
    assert text.index("no assessment to IEC 62471") < text.index("less than 1 s")
    assert max(map(len, text.splitlines())) <= width
    assert text.isascii()
    assert "\x1b" not in text


@pytest.mark.identity
def test_radiance_stands_once_a_fixture_and_unreached_limits_in_words() -> None:
    """The same figure is not repeated from every distance; ultraviolet is told as not reached."""
    text = shown(120)
    assert text.count("blue light, one emitter ") == 2
    assert "Not reached at full output, whether in seconds or over a day: ultraviolet" in text
    assert "E_B 145 W/m2" in text


@pytest.mark.identity
def test_closing_line_names_the_soonest_limit_and_the_next_command() -> None:
    """The last line warns and leads on."""
    line = closing_line(hazard(), "in")
    assert line.startswith(
        "Do not look into it: from 7.9 in left at full output reaches the limit for blue light"
    )
    assert line.endswith(f"Next: lightdose dose {EXAMPLE}")


@pytest.mark.identity
def test_closing_line_tells_a_panel_from_a_single_emitter() -> None:
    """Less than a second is of the whole panel; an emitter alone takes minutes, and the line says both."""
    known = hazard()
    emitter = [t.full_output_s for t in known.views[0].limits if t.key == "blue_light_radiance"]
    assert emitter[0] is not None
    line = closing_line(known, "cm")
    assert "less than 1 s, all of it taken for one small source" in line
    assert f"a single emitter reaches its own in {duration_words(emitter[0])}." in line
