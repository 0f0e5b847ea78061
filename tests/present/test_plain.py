from __future__ import annotations

import pytest
from lightdose.present.plain import dose_lines
from present.made_analysis import EXAMPLE, made_analysis

HOSTILE = "[x] [/] \x1b[31mred\tü\n😀" + "n" * 180


@pytest.mark.pinned
def test_first_line_is_the_basis_and_last_line_the_verdict():
    """The answer opens with what it stands on and closes with who stands where."""
    lines = list(dose_lines(made_analysis(), "cm"))
    assert lines[0].startswith("Unmeasured: stands on data-sheet values")
    assert lines[-1].startswith(
        "3 of 7 corals within common practice, 1 far below, 1 below, 1 above, 1 far above"
    )
    assert "Next: lightdose dose tank/setup.toml --fixture-height" in lines[-1]


@pytest.mark.identity
def test_every_coral_has_one_line_worst_first():
    """Far off before off before within before not judged, one record a line."""
    lines = [line for line in dose_lines(made_analysis(), "cm") if line.startswith("coral ")]
    assert len(lines) == len(EXAMPLE)
    states = [line.split("\t")[2] for line in lines]
    assert {*states[:2]} == {"far below usual", "far above usual"}
    assert {*states[2:4]} == {"below usual", "above usual"}
    assert states[4:] == ["within common practice"] * 3 + ["not judged by light"]


@pytest.mark.identity
def test_hostile_name_stays_on_its_line_without_an_escape_byte():
    """Control characters stand as escapes; markup and emoji stand literally."""
    lines = list(dose_lines(made_analysis(((HOSTILE, "mushroom", HOSTILE, 2.0),)), "cm"))
    coral = next(line for line in lines if line.startswith("coral "))
    assert coral.startswith("coral [x] [/] \\x1b[31mred\\tü\\n😀nnn")
    assert not any("\x1b" in line or "\n" in line for line in lines)


@pytest.mark.identity
def test_lines_with_plain_names_are_ascii():
    """Units and words print under any encoding."""
    assert all(line.isascii() for line in dose_lines(made_analysis(), "cm"))


@pytest.mark.identity
def test_places_follow_the_unit_asked_for():
    """10 cm is 3.9 in, and the unit stands beside the number."""
    in_cm, in_inches = (
        next(line for line in dose_lines(made_analysis(), unit) if line.startswith("site ridge"))
        for unit in ("cm", "in")
    )
    assert "y 10 cm" in in_cm
    assert "y 3.9 in" in in_inches


@pytest.mark.pinned
def test_setup_without_corals_lists_its_sites():
    """No verdict is made up where there is nothing to judge."""
    lines = list(dose_lines(made_analysis(corals=()), "cm"))
    assert sum(line.startswith("site ") for line in lines) == 2
    assert lines[-1].startswith("No corals to judge. Next: ")


@pytest.mark.pinned
def test_setup_without_sites_says_what_to_add():
    """An empty tank gets a sentence instead of an empty table."""
    lines = list(dose_lines(made_analysis(corals=(), bare_sites=()), "cm"))
    assert any("nothing to compute light for" in line for line in lines)
    assert "add a [[site]]" in lines[-1]


@pytest.mark.pinned
def test_fixture_without_electrical_power_says_so():
    """A missing figure is named, not invented."""
    lines = list(dose_lines(made_analysis(), "cm"))
    assert "fixture right\tenergy not known: its file gives no electrical_w" in lines
