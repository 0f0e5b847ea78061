"""Programmes from schedule.csv, from points inline, and back to CSV."""

from __future__ import annotations

import datetime
from pathlib import Path
from typing import get_args

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from lightdose.errors import Place, ScheduleError
from lightdose.files.csv_text import Dialect
from lightdose.files.schedule_csv import (
    LIMIT_ROWS,
    gaps_lit_at_zero,
    programme_from_points,
    read_schedule,
    write_dial,
    write_schedule,
)
from lightdose.model.fixture import ChannelProgramme, Programme

CHANNELS = ("blue 445", "white")


@pytest.fixture
def read(tmp_path):
    """Reads a text as schedule.csv."""

    def reading(text: str, channels=CHANNELS) -> Programme:
        return read_file(tmp_path, text, channels)[0]

    return reading


@pytest.fixture
def refused(tmp_path):
    """The message with which a text is refused."""

    def refusing(text: str, channels=CHANNELS) -> str:
        with pytest.raises(ScheduleError) as caught:
            read_file(tmp_path, text, channels)
        return str(caught.value)

    return refusing


def read_file(folder: Path, text: str, channels=CHANNELS) -> tuple[Programme, str]:
    path = folder / "daily.csv"
    path.write_bytes(text.encode())
    return read_schedule(path, "daily.csv", channels)


def points(programme: Programme, channel: str) -> list[tuple[float, float]]:
    found = programme.channels[channel]
    return list(zip(found.time_h.tolist(), found.level.tolist(), strict=True))


@pytest.mark.identity
@pytest.mark.parametrize(
    "text",
    [
        "time,blue 445,white\n08:00,0,0\n10:00,57.3,20\n20:00,0,0\n",
        "\ufefftime;blue 445;white\r\n8:00;0;0\r\n10.00;57,3;20\r\n8:00 pm;0;0\r\n",
        "# invented\nTime\tblue 445\twhite\n8h00\t0\t0\n10:00\t57.3\t20\n20:00\t0\t0\n",
        "white,time,blue 445\n0,08:00,0\n20,10:00,57.3\n0,20:00,0\n",
    ],
)
def test_schedule_in_every_dialect_gives_the_same_programme(read, text):
    """Levels are percent in the file and fractions inside, rounded once; columns come in any order."""
    programme = read(text)
    assert points(programme, "blue 445") == [(8.0, 0.0), (10.0, 0.573), (20.0, 0.0)]
    assert points(programme, "white") == [(8.0, 0.0), (10.0, 0.2), (20.0, 0.0)]


@pytest.mark.pinned
def test_understood_names_rows_dialect_and_span(tmp_path):
    """The echo lets the keeper check hours and what was done with all_channels."""
    text = "time;blue 445;white;all_channels\n20:00;0;0;100\n22:00;50,5;5;\n02:00+1;0;0;50\n"
    assert read_file(tmp_path, text)[1] == (
        "3 rows, separator ';', decimal comma, programme 20:00 to 02:00+1, all_channels multiplied into the "
        "levels at the rows, its blank cells taken from the line between its own values"
    )


@pytest.mark.identity
def test_blank_level_beside_an_overall_setting_is_echoed_as_the_point_that_it_makes(tmp_path):
    """A level left blank between two of its channel becomes a point, and the echo names the channel."""
    text = "time,blue 445,white,all_channels\n08:00,0,10,100\n10:00,40,,100\n12:00,40,30,50\n"
    programme, said = read_file(tmp_path, text)
    assert points(programme, "white") == [(8.0, 0.1), (10.0, 0.2), (12.0, 0.15)]
    assert said.endswith(
        "blank levels beside it taken from the line between their own values, as points there: white"
    )
    full = text.replace("40,,100", "40,20,100")
    assert points(read_file(tmp_path, full)[0], "white") == points(programme, "white")
    assert "blank levels" not in read_file(tmp_path, full)[1]


@pytest.mark.identity
def test_all_channels_multiplies_at_the_rows_and_is_linear_between(read):
    """Two ramps 0 to 100 multiply to one straight ramp, not to a parabola."""
    programme = read("time,blue 445,white,all_channels\n08:00,0,80,0\n10:00,100,80,50\n20:00,0,80,100\n")
    assert points(programme, "blue 445") == [(8.0, 0.0), (10.0, 0.5), (20.0, 0.0)]
    assert points(programme, "white") == [(8.0, 0.0), (10.0, 0.4), (20.0, 0.8)]


@pytest.mark.identity
def test_blank_all_channels_is_taken_from_its_own_line(read):
    """Halfway between 100 and 50 a blank all_channels counts 75 percent."""
    programme = read("time,blue 445,white,all_channels\n08:00,40,40,100\n10:00,80,,\n12:00,40,40,50\n")
    assert points(programme, "blue 445") == [(8.0, 0.4), (10.0, pytest.approx(0.6)), (12.0, 0.2)]
    assert points(programme, "white") == [(8.0, 0.4), (12.0, 0.2)]


@pytest.mark.identity
def test_blank_channel_keeps_its_product_at_rows_of_all_channels(read):
    """A dip of all_channels reaches a channel with a blank cell in that row; outside its points it is off."""
    rows = ("08:00,0,,100", "09:00,0,60,100", "12:00,50,,10", "15:00,0,60,100", "16:00,0,,20")
    text = "\n".join(["time,blue 445,white,all_channels", *rows])
    assert points(read(text), "white") == [(9.0, 0.6), (12.0, pytest.approx(0.06)), (15.0, 0.6)]


@pytest.mark.identity
def test_all_channels_jumps_at_a_double_row(read):
    """At a jump of all_channels a channel with one point there jumps with it."""
    text = "time,blue 445,white,all_channels\n08:00,50,50,100\n12:00,50,,100\n12:00,,80,20\n18:00,50,80,20\n"
    programme = read(text)
    assert programme.channels["blue 445"].time_h.tolist() == [8, 12, 12, 18]
    assert programme.channels["blue 445"].level.tolist() == pytest.approx([0.5, 0.5, 0.1, 0.1])
    assert programme.channels["white"].time_h.tolist() == [8, 12, 12, 18]
    assert programme.channels["white"].level.tolist() == pytest.approx([0.5, 0.8, 0.16, 0.16])


@pytest.mark.identity
def test_blank_cell_is_no_point_and_a_double_row_is_a_jump(read):
    """A programme runs from its first point to its last; two rows at one time are a jump."""
    programme = read("time,blue 445,white\n00:00,,1\n08:00,0,\n08:00,60,\n18:00,60,\n24:00,,1.5\n")
    assert points(programme, "blue 445") == [(8.0, 0.0), (8.0, 0.6), (18.0, 0.6)]
    assert points(programme, "white") == [(0.0, 0.01), (24.0, 0.015)]


@pytest.mark.identity
def test_programme_past_midnight_keeps_its_length(read):
    """02:00+1 is six hours after 20:00; a channel that starts after midnight starts in the early day."""
    programme = read("time,blue 445,white\n20:00,0,\n01:06+1,50,0\n02:06+1,0,40\n")
    assert points(programme, "blue 445") == [(20.0, 0.0), (25.1, 0.5), (26.1, 0.0)]
    assert points(programme, "white") == [(1.1, 0.0), (2.1, 0.4)]


@pytest.mark.identity
@pytest.mark.parametrize("minute", range(0, 1440, 7))
def test_programme_of_exactly_24_h_is_accepted_at_every_minute(read, minute):
    """Rounding never makes a day longer than 24 h."""
    start = f"{minute // 60:02d}:{minute % 60:02d}"
    text = f"time,blue 445,white\n{start},10,20\n{start}+1,10,20\n"
    programme = read(text)
    times = programme.channels["white"].time_h
    assert times[0] == minute / 60
    # One step of a double between 32 and 48 is 7.1e-15.
    assert times[0] - 7.2e-15 <= times[1] - 24 <= times[0]
    assert write_schedule(programme, CHANNELS) == (text if minute else text.replace("00:00+1", "24:00"))


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (
            "20:00,0,0\n22:00,60,5\n02:00,0,0\n",
            'daily.csv:4:1: "02:00" comes after "22:00"; order read: 20:00, 22:00, 02:00',
        ),
        ("20:00,0,0\n22:00,60,5\n02:00,0,0\n", 'write "02:00+1" if it is past midnight'),
        ("20:00,0,0\n02:00+1,60,5\n01:00+1,0,0\n", "sort the points by time"),
        ("08:00,0,0\n08:00,1,0\n08:00,60,5\n", 'daily.csv:4:1: "08:00" stands more than twice'),
        ("08:00,0,0\n24:00,1,0\n01:00+1,60,5\n", 'daily.csv:3:1: "24:00" is only an end'),
        ("01:00+1,0,0\n03:00+1,60,5\n", 'starts at "01:00+1"'),
        ("24:00,0,0\n24:00,60,5\n", 'starts at "24:00"'),
        ("08:06,0,0\n08:07+1,60,5\n", 'lasts from "08:06" to "08:07+1", 24.0167 h'),
        ("0800,0,0\n09:00,60,5\n", 'daily.csv:2:1: "0800" has no colon'),
        ("08:00,0,0\n24:01,60,5\n", 'write "00:01+1"'),
        ("0.3333,0,0\n0.5,60,5\n", "format the column as time"),
        ("08:00,0,0\n09:00,101,5\n", 'daily.csv:3:7: the level "101" is out of range'),
        ("08:00,0,0\n09:00,-1,5\n", "allowed: 0 to 100 percent"),
        ("08:00,0,0\n09:00,50%,5\n", "leave the % sign out: 50"),
        ("08:00,0,0\n09:00,nan,5\n", '"nan" is not a number'),
        ("08:00,0,0\n09:00,0.6,1\n", "no level is above 1 percent: are these fractions?"),
        ("08:00,0,0\n09:00,0.6,1\n", "write percent: 50 instead of 0.5"),
        ("08:00,0,0\n09:00,,60\n10:00,,0\n", 'the channel "blue 445" has one point'),
        ("08:00,,0\n09:00,,60\n", 'the channel "blue 445" has no point'),
    ],
)
def test_doubtful_rows_are_refused_with_place_and_cure(refused, rows, says):
    """Times and levels that can be meant otherwise are never guessed."""
    assert says in refused("time,blue 445,white\n" + rows)


@pytest.mark.pinned
def test_unknown_and_missing_channels_are_named_with_the_known_ones(refused):
    """A misspelt column shows the near channel, once; a channel without a column how to keep it off."""
    message = refused("time,Blue 455,white\n08:00,0,0\n09:00,50,50\n")
    assert 'did you mean "blue 445"?' in message
    assert "problems" not in message
    assert "no programme" not in message
    message = refused("time,quartz,white\n08:00,0,0\n09:00,50,50\n")
    assert 'daily.csv:1:6: the fixture has no channel "quartz"' in message
    assert "its channels: blue 445, white" in message
    assert "did you mean" not in message
    assert 'the channel "blue 445" of the fixture has no programme' in message
    assert 'add a column "blue 445", with 0 in its rows to keep it off' in message
    assert message.endswith("2 problems")


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("time,blue 445,white,white", 'daily.csv:1:21: the column "white" stands twice'),
        ("time,blue 445,white,Time", 'the column "Time" stands twice'),
        ("time,blue 445,white,ALL_CHANNELS,all_channels", 'the column "all_channels" stands twice'),
        ("time,blue 445,,white", "daily.csv:1:15: column 3 has no name"),
    ],
)
def test_repeated_or_nameless_columns_are_refused(refused, header, says):
    """Each column stands once and has a name."""
    cells = ",".join("50" for _ in header.split(",")[1:])
    assert says in refused(f"{header}\n08:00,{cells}\n09:00,{cells}\n")


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("08:00,5,5,\n10:00,5,5,50\n", 'daily.csv:2:11: "all_channels" is blank here'),
        ("08:00,5,5,50\n10:00,5,5,\n", 'daily.csv:3:11: "all_channels" is blank here'),
        ("08:00,5,5,\n10:00,5,5,\n", 'the column "all_channels" is empty'),
        ("08:00,5,5,0.5\n10:00,5,5,1\n", "daily.csv:2:11: no level is above 1 percent"),
        ("08:00,5,5,110\n10:00,5,5,100\n", 'daily.csv:2:11: the level "110" is out of range'),
    ],
)
def test_doubtful_all_channels_is_refused(refused, rows, says):
    """Outside its own points all_channels is not guessed, and it is percent too."""
    assert says in refused("time,blue 445,white,all_channels\n" + rows)


@pytest.mark.pinned
def test_all_problems_of_a_file_come_in_one_raise_in_file_order(refused):
    """A keeper mends everything in one go."""
    message = refused("time,blue 445,green\n0800,0,0\n09:00,150,x\n08:30,5,5\n")
    places = [line.split(": ")[0] for line in message.splitlines() if line.startswith("daily.csv")]
    assert places == [
        "daily.csv:1",
        "daily.csv:1:15",
        "daily.csv:2:1",
        *["daily.csv:3:7", "daily.csv:3:11"],
        "daily.csv:4:1",
    ]
    assert message.endswith("6 problems")


@pytest.mark.identity
def test_number_of_shown_problems_is_bounded(refused):
    """A file full of mistakes is told in few lines, the rest counted."""
    message = refused("time,blue 445,white\n" + "08:00,999,999\n" * 3000)
    assert "more problems" in message
    assert len(message.splitlines()) < 300


@pytest.mark.pinned
def test_rows_beyond_the_limit_are_refused(refused):
    """The limit is named."""
    rows = "".join(
        f"{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d},5,5\n" for i in range(LIMIT_ROWS + 1)
    )
    assert "has 50,001 rows\n" in refused("time,blue 445,white\n" + rows)
    assert "allowed: up to 50,000" in refused("time,blue 445,white\n" + rows)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "daily.csv: is empty"),
        ("# only a title\n", "daily.csv: has only comments"),
        ("hour,blue 445\n08:00,5\n", 'no line names the column "time"'),
        ("time,blue 445,white\n", "has a header and no rows"),
        ("time,blue 445,white\n08:00,0,5,0\n", "4 cells, the header has 3"),
    ],
)
def test_what_is_no_schedule_is_refused_as_a_schedule(refused, text, says):
    """Trouble with the text of the file arrives as a ScheduleError too."""
    assert says in refused(text)


# ---- inline ---------------------------------------------------------------------------------------------


def place_of(path):
    return Place("setup.toml/" + "/".join(map(str, path)))


@pytest.mark.identity
def test_inline_points_give_the_programme_of_the_same_file(read):
    """Both forms mean the same, TOML local times included."""
    inline = programme_from_points(
        {
            "blue 445": [["08:00", 0], [datetime.time(9), 57.3], ["18:00", 0]],
            "white": [["20:00", 5], ["02:00+1", 5]],
        },
        CHANNELS,
        place_of,
    )
    filed = read("time,blue 445,white\n08:00,0,\n09:00,57.3,\n18:00,0,\n20:00,,5\n02:00+1,,5\n")
    for channel in CHANNELS:
        assert points(inline, channel) == points(filed, channel)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("given_points", "says"),
    [
        ({"white": [["08:00", 5], ["09:00", 5]]}, 'add "blue 445" = [["00:00", 0], ["24:00", 0]]'),
        ({"green": [["08:00", 5], ["09:00", 5]]}, 'setup.toml/green: the fixture has no channel "green"'),
        ({"all_channels": [["08:00", 5], ["09:00", 5]]}, '"all_channels" is a reserved name'),
        ({"white": [["22:00", 5], ["02:00", 5]]}, 'setup.toml/white/1: "02:00" comes after "22:00"'),
        ({"white": [["0800", 5], ["09:00", 5]]}, 'setup.toml/white/0/0: "0800" has no colon'),
        ({"white": [[8.0, 5], ["09:00", 5]]}, "setup.toml/white/0/0: 8.0 is a bare number"),
        ({"white": [["08:00", 105], ["09:00", 5]]}, "setup.toml/white/0/1: the level 105 is out of range"),
        ({"white": [["08:00", True], ["09:00", 5]]}, "setup.toml/white/0/1: True is not a number"),
        ({"white": [["08:00", "5"], ["09:00", 5]]}, "setup.toml/white/0/1: '5' is not a number"),
        ({"white": [["08:00", float("nan")], ["09:00", 5]]}, "setup.toml/white/0/1: the level nan"),
        ({"white": [["08:00"], ["09:00", 5]]}, "setup.toml/white/0: ['08:00'] is not a point"),
        ({"white": ["08:00", ["09:00", 5]]}, "setup.toml/white/0: '08:00' is not a point"),
        ({"white": [["08:00", 5]]}, 'the channel "white" has one point'),
        ({"white": []}, 'the channel "white" has no point'),
        ({"white": [["08:00", 0.5], ["09:00", 1]]}, "are these fractions?"),
        ({"white": [["08:00", 5], ["24:00", 5], ["01:00+1", 5]]}, '"24:00" is only an end'),
    ],
)
def test_doubtful_inline_points_are_refused_with_their_key_path(given_points, says):
    """The rules of a file hold inline, with places by key path."""
    with pytest.raises(ScheduleError) as caught:
        programme_from_points(given_points, CHANNELS, place_of)
    assert says in str(caught.value)


@pytest.mark.identity
def test_inline_level_of_400_digits_is_refused_with_its_start():
    """A whole number that no float holds is out of range like any other."""
    with pytest.raises(ScheduleError, match=r"the level 9{37}\.\.\. is out of range"):
        programme_from_points({"blue 445": [["08:00", int("9" * 400)], ["09:00", 0]]}, CHANNELS, place_of)


@pytest.mark.identity
def test_inline_points_have_the_limit_of_a_file():
    """As many as a file may have rows."""
    with pytest.raises(ScheduleError, match="up to 50,000"):
        programme_from_points({"blue 445": [["08:00", 0]] * (LIMIT_ROWS + 1)}, CHANNELS, place_of)


# ---- export ---------------------------------------------------------------------------------------------


@pytest.mark.pinned
def test_export_shows_products_without_all_channels(read):
    """What is written can be typed into any timer: no second factor."""
    programme = read("time,blue 445,white,all_channels\n08:00,0,5,100\n10:30,50,20,50\n24:00,0,5,100\n")
    assert write_schedule(programme, CHANNELS) == "time,blue 445,white\n08:00,0,5\n10:30,25,10\n24:00,0,5\n"
    assert write_schedule(
        read("time,blue 445,white\n08:00,0,1.25\n09:00,12.345,5\n"), CHANNELS, "excel-eu"
    ) == ("\ufefftime;blue 445;white\n08:00;0;1,25\n09:00;12,3450;5\n")


@pytest.mark.identity
@pytest.mark.parametrize("dialect", get_args(Dialect))
def test_dial_keeps_levels_and_factor_apart_and_is_written_as_it_was_read(read, dialect):
    """Rows, blanks and jumps come back; another plateau changes the overall column alone."""
    text = (
        "time,blue 445,white,all_channels\n20:00,0,,92\n21:00,70,35,\n23:00,70,,46\n23:00,60,40,46\n"
        "02:00+1,0,0,92\n"
    )
    programme = read(text)
    assert programme.dial.plateau == 0.92
    assert write_dial(programme.dial, CHANNELS) == text
    dimmed = programme.dial.at(0.46)
    written = write_dial(dimmed, CHANNELS, dialect)
    again = read(written)
    assert write_dial(again.dial, CHANNELS) == text.replace("46", "23").replace("92", "46")
    for name, channel in dimmed.programme().channels.items():
        assert points(again, name) == points(dimmed.programme(), name)
        assert channel.level.tolist() == pytest.approx(programme.channels[name].level / 2, abs=1e-13)


@pytest.mark.identity
def test_dial_at_very_low_levels_and_at_midnight_reads_back(read):
    """Neither half a percent nor 24:00 is mistaken for something else."""
    low = read("time,blue 445,white,all_channels\n00:00,5,50,50\n24:00,5,50,50\n").dial.at(0.005)
    again = read(write_dial(low, CHANNELS)).dial
    assert again.overall.tolist() == [0.005, 0.005]
    assert again.time_h.tolist() == [0, 24]


@pytest.mark.identity
def test_products_of_all_channels_are_written_as_a_keeper_multiplies(read):
    """70 % of 40 % is 28 %, without a trail of binary digits."""
    programme = read("time,blue 445,white,all_channels\n08:00,70,110e-1,40\n18:00,55,35,80\n")
    assert write_schedule(programme, CHANNELS) == "time,blue 445,white\n08:00,28,4.4\n18:00,44,28\n"


@pytest.mark.identity
def test_channel_without_programme_is_written_as_off():
    """Every channel gets a column, so that the file is complete."""
    lit = ChannelProgramme(np.array([8.0, 18.0]), np.array([0.5, 0.5]))
    assert (
        write_schedule(Programme({"white": lit}), CHANNELS) == "time,blue 445,white\n08:00,0,50\n18:00,0,50\n"
    )
    assert write_schedule(Programme({}), CHANNELS) == "time,blue 445,white\n00:00,0,0\n24:00,0,0\n"


@pytest.mark.identity
@pytest.mark.parametrize("lit", [["white"], []])
def test_glowing_channel_without_programme_stays_off(read, lit):
    """A channel that gives light at level 0 gets two rows at one time, and so no time at all."""
    day = ChannelProgramme(np.array([8.0, 8.0, 18.0]), np.array([0.2, 0.5, 0.5]))
    text = write_schedule(Programme(dict.fromkeys(lit, day)), CHANNELS, lit_at_zero=("blue 445",))
    back = read(text)
    first = back.channels["blue 445"].time_h
    assert first[0] == first[-1]
    if lit:
        assert points(back, "white") == [(8.0, 0.2), (8.0, 0.5), (18.0, 0.5)]
    else:
        assert points(back, "white") == [(0.0, 0.0), (24.0, 0.0)]


@pytest.mark.identity
def test_gaps_that_a_file_cannot_keep_dark_are_named():
    """Only a channel that glows at level 0, passes midnight and shares no 24 h with the others has one."""
    night = ChannelProgramme(np.array([20.0, 22.0, 32.0]), np.array([0.0, 0.5, 0.0]))
    long_day = ChannelProgramme(np.array([6.0, 12.0, 22.0]), np.array([0.0, 0.5, 0.0]))
    day = ChannelProgramme(np.array([9.0, 12.0, 20.0]), np.array([0.0, 0.5, 0.0]))
    crossing = Programme({"blue 445": night, "white": long_day})
    assert gaps_lit_at_zero(crossing, CHANNELS) == {"blue 445": (8.0, 20.0)}
    assert gaps_lit_at_zero(crossing, ("white",)) == {}
    assert gaps_lit_at_zero(Programme({"blue 445": night, "white": day}), CHANNELS) == {}


@pytest.mark.identity
def test_low_levels_are_marked_as_percents(read):
    """A moonlight programme below 1 percent reads back instead of being taken for fractions."""
    moon = ChannelProgramme(np.array([0.0, 24.0]), np.array([0.004, 0.004]))
    text = write_schedule(Programme({"white": moon, "blue 445": moon}), CHANNELS)
    assert text.startswith("# levels in percent\n")
    assert points(read(text), "white") == [(0.0, 0.004), (24.0, 0.004)]


@pytest.mark.identity
def test_names_that_spreadsheets_would_calculate_survive(read):
    """A channel called =1+1, one with a separator and one with quotes read back by their names."""
    names = ("=1+1", "'-x", 'a;b, "c"', "#1")
    lit = ChannelProgramme(np.array([8.0, 18.0]), np.array([0.5, 0.5]))
    programme = Programme(dict.fromkeys(names, lit))
    for dialect in get_args(Dialect):
        text = write_schedule(programme, names, dialect)
        assert "'=1+1" in text
        assert list(read(text, names).channels) == list(names)


def day_level(channel: ChannelProgramme, time_h: np.ndarray) -> np.ndarray:
    """Level of the repeating day away from jumps."""
    later = [np.interp(time_h + day, channel.time_h, channel.level, left=0, right=0) for day in (0.0, 24.0)]
    return np.maximum(*later)


@pytest.mark.identity
def test_programmes_without_a_common_start_are_cut_at_midnight(read):
    """Around the clock from 00:00 and from 12:00 cannot share one file of 24 h; the day stays the same."""
    programme = Programme(
        {
            "blue 445": ChannelProgramme(np.array([0.0, 6.0, 24.0]), np.array([0.1, 0.9, 0.1])),
            "white": ChannelProgramme(np.array([14.0, 16.0, 26.0]), np.array([0.2, 0.8, 0.4])),
        }
    )
    back = read(write_schedule(programme, CHANNELS))
    time_h = np.arange(0.05, 24, 0.1)
    for channel in CHANNELS:
        assert back.channels[channel].time_h.max() <= 24
        np.testing.assert_allclose(
            day_level(back.channels[channel], time_h),
            day_level(programme.channels[channel], time_h),
            atol=1e-12,
        )


@st.composite
def programmes(draw) -> Programme:
    """Programmes that share a start of the day, at any time and level, with jumps."""
    start = draw(st.floats(0, 23.99))
    channels = {}
    for name in CHANNELS:
        offsets = draw(
            st.lists(
                st.one_of(st.integers(0, 1440).map(lambda m: m / 60), st.floats(0, 24)),
                min_size=2,
                max_size=6,
            )
        )
        times = sorted(min(start + offset, np.nextafter(start + 24, 0)) for offset in offsets)
        times = [t for i, t in enumerate(times) if i < 2 or times[i - 2] != t]
        shift = 24.0 if times[0] >= 24 else 0.0
        levels = draw(st.lists(st.floats(0, 1), min_size=len(times), max_size=len(times)))
        channels[name] = ChannelProgramme(np.array(times) - shift, np.array(levels))
    return Programme(channels)


FULL_DAY_BY_ROUNDING = Programme(
    {
        "blue 445": ChannelProgramme(np.array([21.0, 21.0, 24 + 38 / 60]), np.zeros(3)),
        "white": ChannelProgramme(np.full(2, (24 + 38 / 60) - 24), np.zeros(2)),
    }
)
"""Its last point is its first, a day later: 38 minutes have other last bits beyond midnight."""


JUMP_BY_ROUNDING = Programme(
    {
        "blue 445": ChannelProgramme(np.array([0, (24 + 1 / 60) - 24, (24 + 1 / 60) - 24]), np.zeros(3)),
        "white": ChannelProgramme(np.array([23.75, 24 + 1 / 60]), np.zeros(2)),
    }
)
"""A jump after midnight and a point of another channel: two texts, one time to the reader."""


@pytest.mark.identity
@pytest.mark.parametrize("dialect", get_args(Dialect))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(programme=programmes())
@example(programme=FULL_DAY_BY_ROUNDING)
@example(programme=JUMP_BY_ROUNDING)
def test_exported_programme_reads_back_to_the_last_bit(tmp_path, dialect, programme):
    """What the tool writes it reads, times and levels alike, in both dialects."""
    text = write_schedule(programme, CHANNELS, dialect)
    back, _ = read_file(tmp_path, text)
    for name in CHANNELS:
        assert points(back, name) == points(programme, name)
    assert write_schedule(back, CHANNELS, dialect) == text
