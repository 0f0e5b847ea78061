"""No row is lost unseen: in every table each line is used, named as left out, or refused with its place."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from files.conftest import FIXTURE, SCHEDULE, SETUP
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lightdose.errors import LightdoseError
from lightdose.files import delimited, places_csv, readings_csv, schedule_csv, spectrum_file
from lightdose.files.delimited import DelimitedError, DelimitedTable, read_delimited
from lightdose.files.setup_file import read_setup
from lightdose.model.setup import Setup

MORE = """
[[site]]
name = "ridge"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
[[site]]
name = "#3"
at = { x = "20 cm", y = "20 cm", height = "1 cm" }
"""
Used = tuple[int, str]
"""How many rows a reader used, and what it says it understood."""


@dataclass(frozen=True)
class Kind:
    """A kind of table: its header, its rows by number and name, and its reader."""

    module: Any
    header: str
    row: Callable[[int, str], str]
    read: Callable[[Path, Setup], Used]


def _places(reader: Callable[[Path, str], tuple[list[Any], str]]) -> Callable[[Path, Setup], Used]:
    def read(path: Path, setup: Setup) -> Used:
        rows, said = reader(path, "f.csv")
        return len(rows), said

    return read


def _readings(path: Path, setup: Setup) -> Used:
    readings, said = readings_csv.read_readings(path, "f.csv", setup)
    return len(readings), said[0]


def _schedule(path: Path, setup: Setup) -> Used:
    programme, said = schedule_csv.read_schedule(path, "f.csv", ("blue", "white"))
    return len(programme.channels["blue"].time_h), said


def _spectrum(path: Path, setup: Setup) -> Used:
    spectrum = spectrum_file.read_spectrum(path, "f.csv", "power")
    return spectrum.wavelength_nm.size, spectrum.notes[0]


def _spectral_table(path: Path, setup: Setup) -> Used:
    table = spectrum_file.read_spectral_table(path, "f.csv")
    return table.wavelength_nm.size, table.notes[0]


KINDS = {
    "sites": Kind(
        places_csv, "site,x_cm,y_cm,depth_cm", lambda i, n: f"{n},{i},20,10", _places(places_csv.read_sites)
    ),
    "corals": Kind(
        places_csv,
        "coral,group,site",
        lambda _, n: f"{n},lps-branching,ridge",
        _places(places_csv.read_corals),
    ),
    "corals, name last": Kind(
        places_csv,
        "group,site,height_cm,coral",
        lambda i, n: f"clam,ridge,{i if i % 2 else ''},{n}",
        _places(places_csv.read_corals),
    ),
    "readings by site": Kind(
        readings_csv,
        "site,reading,unit,time",
        lambda i, n: f"{'#3' if n[0] == '#' else 'ridge'},{100 + i},umol_m2_s,12:00",
        _readings,
    ),
    "readings by spot": Kind(
        readings_csv,
        "x_cm,y_cm,depth_cm,reading,unit,time",
        lambda i, _: f"{i},20,10,{100 + i},umol_m2_s,12:00",
        _readings,
    ),
    "schedule": Kind(
        schedule_csv, "time,blue,white", lambda i, _: f"{8 + i // 60:02d}:{i % 60:02d},{5 + i},20", _schedule
    ),
    "spectrum": Kind(
        spectrum_file, "wavelength_nm,relative_power", lambda i, _: f"{400 + i},0.{i + 1}", _spectrum
    ),
    "spectrum without a header": Kind(spectrum_file, "", lambda i, _: f"{400 + i},0.{i + 1}", _spectrum),
    "absorption": Kind(
        spectrum_file, "wavelength_nm,absorption_per_m", lambda i, _: f"{400 + i},0.{i + 1}", _spectral_table
    ),
}
LINES = st.sampled_from(
    ["row"] * 5 + ["# row", "#row", "title", "# words, of two", "#words", "blank", "# words"]
)


@pytest.fixture(scope="module")
def setup(tmp_path_factory: pytest.TempPathFactory) -> Setup:
    folder = tmp_path_factory.mktemp("tank")
    for name, text in (("setup.toml", SETUP + MORE), ("panel.toml", FIXTURE), ("daily.csv", SCHEDULE)):
        (folder / name).write_text(text, encoding="utf-8")
    return read_setup(folder / "setup.toml")


def written(kind: Kind, lines: list[tuple[str, str]], header_at: int, separator: str) -> tuple[str, int]:
    """The text of a table, its header at a place among the lines, and how many of these could be rows."""
    texts, n_rows = [], 0
    for i, (what, name) in enumerate(lines):
        row = kind.row(i, name)
        texts.append(
            what.replace("row", row).replace("title", f"Tank {name[-1]} in spring").replace("blank", ",,")
        )
        n_rows += what in ("row", "#row", "# row")
    if kind.header:
        texts.insert(min(header_at, len(texts)), kind.header)
    return "\n".join(texts).replace(",", separator) + "\n", n_rows


@pytest.mark.identity
@pytest.mark.parametrize("name", KINDS)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
@given(data=st.data())
def test_every_line_of_a_table_is_used_named_or_refused(
    name: str, data: st.DataObject, setup: Setup, tmp_path: Path
) -> None:
    """Rows in = rows used + rows named as left out, with comments, titles and the header anywhere."""
    kind = KINDS[name]
    n = data.draw(st.integers(2, 9))
    what = data.draw(st.lists(LINES, min_size=n, max_size=n))
    names = [f"{data.draw(st.sampled_from(['', '#', '# ']))}{letter}1" for letter in "abcdefghi"[:n]]
    header_at = data.draw(st.sampled_from([0] * 3 + [*range(n + 1)]))
    text, n_rows = written(
        kind, list(zip(what, names, strict=True)), header_at, data.draw(st.sampled_from(",;\t"))
    )
    path = tmp_path / "f.csv"
    path.write_text(text, encoding="utf-8")
    tables: list[DelimitedTable] = []

    def spy(*args: Any, **options: Any) -> DelimitedTable:
        tables.append(read_delimited(*args, **options))
        return tables[-1]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kind.module, "read_delimited", spy)
        for kept in (places_csv._sites, places_csv._corals):
            kept.cache_clear()  # the same text again is not read
        try:
            used, said = kind.read(path, setup)
        except LightdoseError:
            return
    (table,) = tables
    assert used == len(table.rows), text
    filled = {i for i, line in enumerate(text.split("\n"), start=1) if line.strip(" ,;\t")}
    rows, left = {row.line for row in table.rows}, {found.line for found in table.left_out}
    assert rows | left | ({table.header_line} - {0}) == filled, text
    told = [found for found in table.left_out if found.kind != "head"]
    assert used + len(told) >= n_rows, f"{text}\n{said}"
    assert sum(map(int, re.findall(r"(\d+) (?:line|comment)s? (?:above )?left out", said))) == len(told), said


@pytest.mark.identity
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_name_that_starts_with_a_mark_is_a_name(separator: str, tmp_path: Path) -> None:
    """ "#12 hammer" is a coral, also unquoted, as spreadsheets save it; "# hammer" is a comment and named."""
    text = (
        'coral,group,site\n#12 hammer,clam,ridge\nblue tip,clam,ridge\n# old,clam,ridge\n"#13",clam,ridge\n'
    )
    (tmp_path / "f.csv").write_text(text.replace(",", separator), encoding="utf-8")
    rows, said = places_csv.read_corals(tmp_path / "f.csv", "f.csv")
    assert [row.name for row in rows] == ["#12 hammer", "blue tip", "#13"]
    assert f'1 comment left out (line 4: "# old{separator}clam{separator}ridge")'.replace("\t", " ") in said
    assert "1 name starts with # (line 2; with a space after it, it begins a comment)" in said


@pytest.mark.identity
@pytest.mark.parametrize(
    ("key", "text", "lines"),
    [
        ("coral", "a,clam,r\nb,clam,r\ncoral,group,site\nd,clam,r\n", [1, 2]),
        ("coral", "#12,clam,r\ncoral,group,site\nd,clam,r\n", [1]),
        ("coral", "a;clam;r;;\ncoral;group;site;;\nd;clam;r;;\n", [1]),
        ("coral", "My corals\na,clam,r\ncoral,group,site\nd,clam,r\n", [2]),
        ("site", "ridge,1,2,3\nsite,x_cm,y_cm,depth_cm\nsand,1,2,3\n", [1]),
        ("site", "site 1,1,2,3\nsite,x_cm,y_cm,depth_cm\nsand,1,2,3\n", [1]),
        ("rock", "#1,box,1\nrock,shape,x_cm\nb,box,1\n", [1]),
        ("time", "08:00,0,5\ntime,blue,white\n09:00,1,2\n", [1]),
        ("time", "0,5,7.30\nblue,white,time\n1,2,8.30\n", [1]),
        ("reading", "ridge,12,lux\nsite,reading,unit\nsand,13,lux\n", [1]),
    ],
)
def test_row_above_the_header_is_refused_with_its_line(key: str, text: str, lines: list[int]) -> None:
    """A sheet that was sorted together with its header loses no row: each is named, and the header's line."""
    with pytest.raises(DelimitedError) as caught:
        read_delimited(text, "f.csv", key_column=key)
    assert [problem.place.line for problem in caught.value.problems] == lines
    for problem in caught.value.problems:
        assert (
            problem.found == f"a row stands above the names of the columns, which are in line {lines[-1] + 1}"
        )


@pytest.mark.identity
@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("coral", "My corals\nin spring\n\ncoral,group,site\nd,clam,r\n"),
        ("coral", "My corals;;;\ncoral;group;site;\nd;clam;r;\n"),
        ("coral", "# my corals, from the left, in spring\ncoral,group,site\nd,clam,r\n"),
        ("time", "programme;spring\ntime;blue\n08:00;5\n09:00;6\n"),
        ("reading", "meter;mine;;\nsite;reading;unit;time\nridge;5;lux;12:00\n"),
        (None, "Export\nexposure;100\nwavelength_nm;value\n400;0,1\n401;0,2\n"),
    ],
)
def test_titles_and_comments_above_the_header_stay_legal(key: str | None, text: str) -> None:
    """A line of words, a comment, an instrument's own lines: read past, each of them kept and told."""
    table = read_delimited(text, "f.csv", key_column=key)
    assert [line.line for line in table.left_out] == list(range(1, len(table.left_out) + 1))
    assert len(table.left_out) + len(table.rows) + 1 == len([line for line in text.split("\n") if line])


@pytest.mark.identity
def test_first_row_with_a_slip_and_no_header_is_a_row() -> None:
    """ "4OO,0.1" above the first sound row is refused by its number, not passed over as a preamble."""
    table = read_delimited("4OO,0.1\n401,0.2\n", "f.csv")
    assert [row.line for row in table.rows] == [1, 2]


@pytest.mark.pinned
def test_many_lines_left_out_are_counted_and_the_first_three_shown() -> None:
    """A commented table stays a short sentence; what steers a terminal is an escape."""
    text = "a,b\n1,2\n" + "".join(f"# {i}\x07\u202e,{'x' * 60}\n" for i in range(9))
    words = read_delimited(text, "f.csv").understood
    assert words.count("line ") == 3
    assert "9 comments left out (line 3: " in words
    assert words.endswith('...", and 6 more)')
    assert words.isprintable()
    assert delimited.read_delimited("# t\na,b\n1,2\n", "f.csv").passed_over == []
