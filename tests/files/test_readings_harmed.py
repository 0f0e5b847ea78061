"""Readings files that came to harm, seeded: what is read is sound, and what is not has a place."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from random import Random

import pytest
from misuse.every_file import READINGS_CSV, write_tank
from misuse.ways_to_break import RAW_WORDS, WAYS

from lightdose.errors import Problem, ReadingsError
from lightdose.files.readings_csv import read_readings
from lightdose.files.setup_file import read_setup
from lightdose.fit.observations import unusable_readings
from lightdose.model.setup import Setup
from lightdose.model.spectrum import Reading

CELLS = (
    *(
        "",
        "0",
        "-1",
        "0.5",
        "100",
        "130",
        "1e9",
        "1,5",
        "1.234,5",
        "nan",
        "46 %",
        "75mm",
        "0,2 m",
        "1,250 mm",
    ),
    *(
        "12:00",
        "23:30",
        "25:00",
        "12.5",
        "0,5",
        "2026-03-14",
        "46095",
        "3/14/2026",
        "lux",
        "umol",
        "umol_m2_s",
    ),
    *(
        "handheld",
        "phone",
        "old",
        "noon",
        "ridge",
        "sand",
        "blue",
        "#1",
        "'=1+1",
        '"',
        '"two\nlines"',
        "x" * 300,
    ),
    *RAW_WORDS,
)
"""What may stand in a cell of any column, meant or not."""
MARKS = (
    ("", ",", "\n"),
    ("\ufeff", ";", "\r\n"),
    ("sep=;\n", ";", "\n"),
    ("\ufeff", "\t", "\n"),
    ("", ";", "\n\n"),
)
"""What a file begins with, what parts its cells, and what ends its lines."""
DRAWS = 150


@pytest.fixture(scope="module")
def setup(tmp_path_factory: pytest.TempPathFactory) -> Setup:
    folder = write_tank(tmp_path_factory.mktemp("harmed") / "tank")
    return read_setup(folder / "setup.toml")


def assert_read_or_placed(setup: Setup, path: Path, data: bytes) -> bool:
    """Whether the file was read; each reading is sound, or each problem has its place in the file."""
    path.write_bytes(data)
    problems: Sequence[Problem] = ()
    readings: Sequence[Reading] = ()
    try:
        readings, _ = read_readings(path, "readings.csv", setup, unusable_readings)
    except ReadingsError as trouble:
        problems = trouble.problems
    assert bool(problems) != bool(readings)
    assert [p for p in problems if p.place is None or p.place.file != "readings.csv"] == []
    for reading in readings:
        assert reading.value >= 0
        assert (reading.time_h is None) != (reading.levels is None)
        assert all(0 <= level <= 1 for level in (reading.levels or {}).values())
        end = setup.meters[reading.meter].reads_up_to if reading.meter else None
        assert end is None or reading.value <= end
    for name in {r.pair for r in readings} - {None}:
        members = [r for r in readings if r.pair == name]
        assert len(members) == len({(r.meter, r.unit) for r in members}) > 1
        assert len({(r.x_m, r.y_m, r.depth_m, r.time_h) for r in members}) == 1
    return not problems


def as_file(rows: Sequence[Sequence[str]], marks: tuple[str, str, str]) -> bytes:
    head, separator, end = marks
    return (head + end.join(separator.join(row) for row in rows) + end).encode()


def table() -> list[list[str]]:
    """The cells of a sound file, none of which holds a separator."""
    return [line.split(",") for line in READINGS_CSV.replace("the other, too", "the other too").splitlines()]


@pytest.mark.identity
@pytest.mark.parametrize("marks", MARKS, ids=repr)
def test_sound_readings_are_read_however_they_are_saved(
    setup: Setup, tmp_path: Path, marks: tuple[str, str, str]
) -> None:
    """A mark of UTF-8, semicolons, tabs, a sep= line, blank rows between: the file is the same."""
    assert assert_read_or_placed(setup, tmp_path / "readings.csv", as_file(table(), marks))


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(4))
def test_cells_that_are_not_meant_are_read_or_told_with_their_place(
    setup: Setup, tmp_path: Path, seed: int
) -> None:
    """One to three cells of any column, header included, replaced by what stands in others or nowhere."""
    draw = Random(f"cells {seed}")
    read = []
    for _ in range(DRAWS):
        rows = table()
        for _ in range(draw.choice((1, 1, 1, 2, 3))):
            row = draw.choice(rows[1:] if draw.random() < 0.9 else rows)
            row[draw.randrange(len(row))] = draw.choice(CELLS)
        read.append(
            assert_read_or_placed(setup, tmp_path / "readings.csv", as_file(rows, draw.choice(MARKS)))
        )
    assert 5 < sum(read) < DRAWS - 50


@pytest.mark.identity
@pytest.mark.parametrize("way", WAYS)
def test_file_that_came_to_harm_is_read_or_told_with_its_place(
    setup: Setup, tmp_path: Path, way: str
) -> None:
    """Every way of the corpus, one after another or two at once, from several seeds."""
    draw = Random(way)
    for _ in range(25):
        data = WAYS[way](READINGS_CSV.encode(), draw)
        if draw.random() < 0.3 and data:
            data = WAYS["number scaled"](data, draw)
        assert_read_or_placed(setup, tmp_path / "readings.csv", data)
