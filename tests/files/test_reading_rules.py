"""Pairs of meters, all channels at once, ranges, dates, many slips: each with its line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from files.conftest import WriteSetup

from lightdose.errors import ReadingsError
from lightdose.files.readings_csv import read_readings
from lightdose.files.setup_file import read_setup
from lightdose.files.typed_values import typed_reading
from lightdose.fit.observations import unusable_readings
from lightdose.model.setup import Setup
from lightdose.model.spectrum import Reading

MORE = """
[[fixture]]
name = "right"
type = "panel.toml"
at = { x = "52 cm", y = "22 cm", height = "20 cm" }
schedule = "daily.csv"
[[site]]
name = "ridge"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
[[site]]
name = "sand"
at = { x = "20 cm", y = "20 cm", height = "1 cm" }
[meter.handheld]
reads = "umol"
immersion = 1.2
reads_up_to = 500
[meter.old]
reads = "umol"
immersion = "unknown"
[meter.phone]
reads = "lux"
immersion = "unknown"
reads_up_to = 20000
"""
HEAD = "site,reading,unit,time,blue,white,all_channels,meter,pair,date\n"
Read = Callable[[str], tuple[tuple[Reading, ...], tuple[str, ...]]]


@pytest.fixture
def setup(write_setup: WriteSetup) -> Setup:
    return read_setup(write_setup(MORE))


@pytest.fixture
def read(setup: Setup, tmp_path: Path) -> Read:
    """Writes a readings file and reads it."""

    def reader(text: str) -> tuple[tuple[Reading, ...], tuple[str, ...]]:
        path = tmp_path / "readings.csv"
        path.write_text(text, encoding="utf-8")
        return read_readings(path, "readings.csv", setup)

    return reader


def slips(read: Read, rows: str, head: str = HEAD) -> list[str]:
    """Every problem of a file, as "line: found"."""
    with pytest.raises(ReadingsError) as caught:
        read(head + rows)
    return [f"{p.place.line if p.place else 0}: {p.found}" for p in caught.value.problems]


# ---- pairs -----------------------------------------------------------------------------


@pytest.mark.identity
def test_pair_names_the_readings_of_several_meters(read: Read) -> None:
    """Any text names a pair, words and numbers alike; blank is none; levels may be written in two ways."""
    readings, _ = read(
        HEAD + "ridge,182,umol_m2_s,12:00,,,,handheld,noon,2026-03-14\n"
        "ridge,9000,lux,12:00,,,,phone,noon,2026-03-14\n"
        "ridge,170,umol_m2_s,12:00,,,,old,noon,\n"
        "sand,90,umol_m2_s,,100,100,,handheld,7.5,\n"
        "sand,80,umol_m2_s,,,,100,old,7.5,\n"
        "sand,80,umol_m2_s,12:00,,,,old,,\n"
    )
    assert [r.pair for r in readings] == ["noon", "noon", "noon", "7.5", "7.5", None]
    assert [r.meter for r in readings[:3]] == ["handheld", "phone", "old"]


@pytest.mark.identity
def test_pair_named_by_a_number_says_nothing_about_the_decimal_mark(read: Read) -> None:
    """A pair "1.5" beside decimal commas is a name, as a note would be."""
    readings, _ = read(
        "site;reading;unit;time;meter;pair\nridge;18,5;umol;12:00;old;1.5\nridge;19,5;umol;12:00;handheld;1.5\n"
    )
    assert [(r.value, r.pair) for r in readings] == [(18.5, "1.5"), (19.5, "1.5")]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ("ridge,9,umol,12:00,,,,old,a,\n", ['2: the pair "a" has one row only']),
        (
            "ridge,9,umol,12:00,,,,old,a,\nsand,9,umol,12:00,,,,handheld,a,\n",
            ['3: this row of the pair "a" was read at another place: sand; line 2: ridge'],
        ),
        (
            "ridge,9,umol,12:00,,,,old,a,\nridge,9,umol,12:30,,,,handheld,a,\n",
            ['3: this row of the pair "a" was read under other light: 12:30; line 2: 12:00'],
        ),
        (
            "ridge,9,umol,,100,,,old,a,\nridge,9,umol,,,50,,handheld,a,\n",
            [
                '3: this row of the pair "a" was read under other light: left/white 50 %, right/white 50 %; '
                "line 2: left/blue 100 %, right/blue 100 %"
            ],
        ),
        (
            "ridge,9,umol,12:00,,,,old,a,2026-03-14\nridge,9,umol,12:00,,,,handheld,a,2026-03-15\n",
            ['3: this row of the pair "a" is of another date: 2026-03-15; line 2: 2026-03-14'],
        ),
        (
            "ridge,9,umol,12:00,,,,old,a,\nridge,8,umol,12:00,,,,old,a,\n",
            ['3: the pair "a" has a row with meter "old" already, line 2'],
        ),
        (
            "ridge,9,umol,12:00,,,,,a,\nridge,8,umol,12:00,,,,,a,\n",
            ['3: the pair "a" has a row without a meter\'s name already, line 2'],
        ),
    ],
)
def test_pair_that_compares_no_meters_is_refused(read: Read, rows: str, found: list[str]) -> None:
    """One spot, one light, one date, a meter each, two rows or more."""
    assert slips(read, rows) == found


@pytest.mark.identity
def test_place_of_a_slip_in_a_pair_is_its_cell(read: Read) -> None:
    """The mark stands under the name of the pair, and a near name is offered."""
    with pytest.raises(ReadingsError) as caught:
        read(HEAD + "ridge,9,umol,12:00,,,,old,noon,\nridge,9,umol,12:00,,,,handheld,non,\n")
    one, two = caught.value.problems
    assert (one.place and one.place.column, two.place and two.place.column) == (27, 32)
    assert (one.cure, two.cure) == ("did you mean non?", "did you mean noon?")


@pytest.mark.identity
def test_pair_whose_other_row_cannot_be_read_is_no_second_slip(read: Read) -> None:
    """The slip of the row is told, not that the pair would be alone without it."""
    rows = "ridge,9,umol,12:00,,,,old,a,\nridge,x,umol,12:00,,,,handheld,a,\n"
    assert slips(read, rows) == ['3: "x" is not a number']


# ---- all channels at once -----------------------------------------------------------------


@pytest.mark.identity
def test_all_channels_sets_every_channel_of_every_lit_fixture(read: Read) -> None:
    """One number stands for all, in percent."""
    (one,), said = read("site,reading,unit,all_channels\nridge,182,lux,46\n")
    names = [(fixture, channel) for fixture in ("left", "right") for channel in ("blue", "white")]
    assert one.levels == dict.fromkeys(names, 0.46)
    assert one.time_h is None
    _, said = read("site,reading,unit,all_channels,blue\nridge,182,lux,46,\nridge,90,lux,,100\n")
    assert said[1] == "readings.csv: no column of levels for white: taken as off in rows with levels"
    _, said = read("site,reading,unit,all_channels,blue\nridge,182,lux,46,\n")
    assert not any("taken as off" in sentence for sentence in said)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("rows", "found"),
    [
        ("ridge,9,umol,12:00,,,50,old,,\n", "2: a time and all_channels stand together"),
        ("ridge,9,umol,,50,,50,old,,\n", "2: levels and all_channels stand together"),
        ("ridge,9,umol,12:00,9,,50,old,,\n", "2: a time and levels and all_channels stand together"),
        ("ridge,9,umol,,,,130,old,,\n", "2: the level 130 is outside the range"),
        ("ridge,9,umol,,,,0,old,,\n", "2: all levels are 0: there was nothing to read"),
        ("ridge,9,umol,,,,0.5,old,,\n", "1: all levels are 1 or less: are these fractions?"),
        ("ridge,9,umol,,,,half,old,,\n", '2: "half" is not a number'),
    ],
)
def test_all_channels_stands_alone(read: Read, rows: str, found: str) -> None:
    """It multiplies nothing, so it stands instead of a time or of levels."""
    assert slips(read, rows) == [found]


# ---- the range of a meter ------------------------------------------------------------------


@pytest.mark.identity
def test_reading_above_the_meters_range_is_refused(read: Read, setup: Setup) -> None:
    """In a file with its line, and on the command line; for the meter that is named, in its own unit."""
    rows = "ridge,501,umol,12:00,,,,handheld,,\nridge,501,umol,12:00,,,,old,,\nridge,20500,lux,12:00,,,,,,\n"
    assert slips(read, rows) == [
        '2: the reading 501 is above the range of meter "handheld"',
        '4: the reading 20500 is above the range of meter "phone"',
    ]
    asked = {"site": "ridge", "air": None, "time": None, "unit": None}
    assert typed_reading(setup, "500", meter="handheld", **asked).value == 500  # type: ignore[arg-type]
    with pytest.raises(ReadingsError, match=r"reads_up_to.\n.*dim the light"):
        typed_reading(setup, "500.1", meter="handheld", **asked)  # type: ignore[arg-type]


@pytest.mark.pinned
def test_reading_at_the_end_of_the_range_is_told(read: Read) -> None:
    """Within 2 % of the end the light may be stronger; below it nothing is said."""
    _, said = read(HEAD + "ridge,490,umol,12:00,,,,handheld,,\nridge,489,umol,12:00,,,,handheld,,\n")
    assert said[-1] == (
        "readings.csv:2: 490 is at the end of the range of handheld (500 umol/m2/s): "
        "the light may be stronger than it shows"
    )
    assert not any("readings.csv:3" in sentence for sentence in said)


# ---- dates, dark rows, many slips at once -------------------------------------------------


@pytest.mark.pinned
def test_readings_of_several_dates_are_named_and_all_kept(read: Read) -> None:
    """Each date with its count, those without one too; a single date says nothing."""
    row = "ridge,9,umol,12:00,,,,old,,"
    readings, said = read(HEAD + f"{row}2026-04-02\n{row}2026-03-01 14:05:00\n{row}2026-03-01\n{row}\n")
    assert [r.date for r in readings] == ["2026-04-02", "2026-03-01", "2026-03-01", None]
    assert said[-1] == (
        "readings.csv: readings of 2 dates: 2 of 2026-03-01, 1 of 2026-04-02, 1 without a date: "
        "taken as one state of the lamps"
    )
    assert "dates" not in " ".join(read(HEAD + f"{row}2026-03-01\n{row}\n")[1])


@pytest.mark.pinned
@pytest.mark.parametrize("date", ["46095", "3/14/2026", "14.03.2026", "2026-03-14x", "2026-13-01", "today"])
def test_date_in_another_form_is_refused(read: Read, date: str) -> None:
    """Nothing is guessed of what a spreadsheet made of a date."""
    assert slips(read, f"ridge,9,umol,12:00,,,,old,,{date}\n") == [f'2: "{date}" is not a date']


@pytest.mark.identity
def test_slips_of_names_and_of_rows_come_in_one_run(read: Read) -> None:
    """A column that no lamp has hides no slip of the rows, and causes none."""
    head = "site,reading,unit,uv,blue,meter\n"
    rows = "ridge,9,umol,100,,old\ncave,9,umol,,100,old\nridge,9,umol,,0,old\nridge,9,umol,,,old\n"
    assert slips(read, rows, head) == [
        '1: unknown column "uv"',
        '3: there is no site "cave"',
        "4: all levels are 0: there was nothing to read",
        "5: nothing says which channels were on",
    ]


@pytest.mark.identity
def test_missing_columns_are_told_once_and_the_rest_of_each_row_too(read: Read) -> None:
    """What a row lacks because its column is missing is no slip of the row."""
    found = slips(read, "x,10\n-3,20\n", "reading,x_cm\n")
    assert found == [
        '1: the column "unit" is missing',
        '1: neither the column "site" nor all of x_cm, y_cm, depth_cm',
        "1: nothing says which channels were on",
        '2: "x" is not a number',
    ]


@pytest.mark.identity
def test_tank_that_changed_since_the_readings_is_told_in_one_run(setup: Setup, tmp_path: Path) -> None:
    """A channel that no lamp has, a site that is gone, night, and nothing lit: each with line and cure."""
    path = tmp_path / "readings.csv"
    path.write_text(
        "site,reading,unit,time,blue,violet,meter\n"
        "ridge,9,umol,,100,0,old\n"
        "cave,9,umol,12:00,,,old\n"
        "ridge,9,umol,23:00,,,old\n"
        "ridge,9,umol,,0,,old\n"
    )
    with pytest.raises(ReadingsError) as caught:
        read_readings(path, "readings.csv", setup, unusable_readings)
    problems = caught.value.problems
    assert [(p.place.line if p.place else 0, p.found) for p in problems] == [
        (1, 'unknown column "violet"'),
        (3, 'there is no site "cave"'),
        (4, "the lights are off at 23:00 by the programme"),
        (5, "all levels are 0: there was nothing to read"),
    ]
    assert all(p.cure for p in problems)
