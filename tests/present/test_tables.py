from __future__ import annotations

import io

import pytest
from present.made_analysis import made_analysis

from lightdose.model.results import Analysis
from lightdose.present.tables import Column, coral_columns, fitting, range_bar, show_dose


def _shown(analysis: Analysis, width: int, colour: bool = False) -> str:
    stream = io.StringIO()
    show_dose(analysis, "cm", stream, colour=colour, width=width)
    return stream.getvalue()


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 80, 120, 200])
def test_table_fits_the_terminal_and_keeps_dose_band_and_state(width: int):
    """No table line is wider than the window; what matters is never cut."""
    text = _shown(made_analysis(), width)
    assert all(len(line) <= width for line in text.splitlines()[:-1])
    for word in ("staghorn frag", "9.40", "8-15", "within common practice", "mol/m2/day", "far above usual"):
        assert word in text


@pytest.mark.identity
def test_wide_terminal_shows_more_columns_than_a_narrow_one():
    """Columns are dropped whole when the window narrows, the group first and the state never."""
    wide, narrow = _shown(made_analysis(), 200), _shown(made_analysis(), 60)
    assert "small-polyp stony, shallow" in wide
    assert "small-polyp stony, shallow" not in narrow
    assert "range  " in wide


@pytest.mark.identity
def test_markup_and_long_names_show_literally_and_whole():
    """[x], [/] and [bold] are letters here, and 200 characters are folded, not cut."""
    name = "[x][/][bold]" + "".join(chr(97 + i % 26) for i in range(188))
    text = _shown(made_analysis(((name, "mushroom", "s", 2.0),)), 80)
    table = text[text.index("coral  ") : text.index("range: ")]
    first_cells = "".join(line[:28].split("  ")[0].strip() for line in table.splitlines()[2:])
    assert name in first_cells


@pytest.mark.identity
def test_escape_bytes_appear_only_with_colour():
    """Without colour there is no escape byte; with it the names are the same."""
    assert "\x1b" not in _shown(made_analysis(), 80)
    assert "\x1b" in _shown(made_analysis(), 80, colour=True)


@pytest.mark.identity
def test_hostile_name_cannot_send_an_escape_byte():
    """An escape byte in a name stands as text."""
    text = _shown(made_analysis((("\x1b[31mred", "mushroom", "s", 2.0),)), 80)
    assert "\x1b" not in text
    assert "\\x1b[31mred" in text


@pytest.mark.pinned
def test_last_line_is_the_verdict_and_the_next_command():
    """It stays on one line, so that the command can be copied."""
    last = _shown(made_analysis(), 60).splitlines()[-1]
    assert last.startswith("3 of 7 corals within common practice")
    assert last.endswith('Next: lightdose dose tank/setup.toml --fixture-height "25 cm"')


@pytest.mark.pinned
def test_many_sites_are_counted_not_listed():
    """A terminal gets the 40 brightest sites and where to find the others."""
    text = _shown(made_analysis(bare_sites=tuple((f"s{i}", float(i)) for i in range(60))), 100)
    assert "and 24 dimmer sites: --csv FILE lists all of them" in text


@pytest.mark.identity
@pytest.mark.parametrize(
    ("dli", "bar"),
    [
        (0.0, "*[..|.....|..]."),
        (5.1, ".[*.|.....|..]."),
        (11.5, ".[..|..*..|..]."),
        (15.0, ".[..|....*|..]."),
        (16.0, ".[..|.....|*.]."),
        (99.0, ".[..|.....|..]*"),
    ],
)
def test_range_bar_marks_the_zone_of_the_state(dli: float, bar: str):
    """The mark stands in the zone that the state names, the band's upper end inside it."""
    analysis = made_analysis((("c", "sps-shallow", "s", dli),))
    assert range_bar(analysis.verdicts[0]) == bar


@pytest.mark.identity
def test_range_bar_of_a_coral_without_symbionts_is_empty():
    """Nothing is drawn where nothing is judged."""
    analysis = made_analysis((("c", "non-photosynthetic", "s", 2.0),))
    assert range_bar(analysis.verdicts[0]) == ""


@pytest.mark.identity
def test_fitting_keeps_the_first_columns_and_skips_what_is_too_wide():
    """A narrower later column may still fit after a wide one is dropped."""
    columns = [Column("a", ("x" * 10,)), Column("b", ("x" * 30,)), Column("c", ("x" * 5,))]
    assert [c.head for c in fitting(columns, 20, 1)] == ["a", "c"]
    assert [c.head for c in fitting(columns, 5, 1)] == ["a"]


@pytest.mark.identity
def test_heads_carry_units():
    """Every number column names its unit in the head."""
    analysis = made_analysis()
    heads = [c.head for c in coral_columns(analysis, analysis.verdicts, "in")]
    assert any("mol/m2/day" in h for h in heads)
    assert any("umol/m2/s" in h for h in heads)
    assert "x, y, depth\nin" in heads
    assert "lit\nh" in heads
