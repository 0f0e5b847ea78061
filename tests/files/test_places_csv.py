"""sites.csv and corals.csv."""

from __future__ import annotations

from typing import get_args

import pytest

from lightdose.errors import Place, SetupError
from lightdose.files.csv_text import Dialect, csv_text
from lightdose.files.places_csv import (
    CORAL_COLUMNS,
    TABLE_ALONE,
    CoralRow,
    SiteRow,
    read_corals,
    read_sites,
)
from lightdose.files.setup_schema import CORAL


@pytest.fixture
def read(tmp_path):
    """Reads the rows of a text with one of the two readers."""

    def reading(reader, text: str):
        path = tmp_path / "f.csv"
        path.write_bytes(text.encode())
        rows, _ = reader(path, "f.csv")
        return rows

    return reading


@pytest.fixture
def refused(read):
    """The message with which a text is refused."""

    def refusing(reader, text: str) -> str:
        with pytest.raises(SetupError) as caught:
            read(reader, text)
        return str(caught.value)

    return refusing


@pytest.mark.identity
def test_sites_are_read_in_metres_with_their_places(read):
    """Centimetres become metres; open_sky takes a number, a word or nothing; columns come in any order."""
    text = "open_sky;site;x_cm;y_cm;depth_cm\nhalf under;ridge;40,5;20;10\n;left;5;5;30\n0,25;7;1;2;3\n"
    assert read(read_sites, text) == [
        SiteRow(
            "ridge",
            0.405,
            0.2,
            0.1,
            0.35,
            None,
            Place("f.csv", 2, 12, "half under;ridge;40,5;20;10"),
            "half under",
            own_sky=True,
        ),
        SiteRow("left", 0.05, 0.05, 0.3, 1.0, None, Place("f.csv", 3, 2, ";left;5;5;30")),
        SiteRow("7", 0.01, 0.02, 0.03, 0.25, None, Place("f.csv", 4, 6, "0,25;7;1;2;3"), own_sky=True),
    ]


@pytest.mark.identity
def test_sites_without_open_sky_column_see_the_whole_sky(read):
    """The column is optional."""
    (row,) = read(read_sites, "site,x_cm,y_cm,depth_cm\nridge,40,20,10\n")
    assert row.open_sky == 1.0


@pytest.mark.identity
@pytest.mark.parametrize("dialect", get_args(Dialect))
def test_sites_written_in_either_dialect_read_back(read, dialect):
    """Names that start formulas or comments keep their spelling."""
    names = ["=1+1", "#3", "a;b, c", '24" shelf']
    text = csv_text(["site", "x_cm", "y_cm", "depth_cm"], [[n, 1.5, 2.345, 10.0] for n in names], dialect)
    rows = read(read_sites, text)
    assert [row.name for row in rows] == names
    assert {row.y_m for row in rows} == {2.345 / 100}


@pytest.mark.identity
def test_corals_are_read_with_group_or_genus_and_site_or_spot_or_neither(read):
    """Each row has its own choice; blanks are height 0, open_sky 1, not pinned, on anything."""
    text = (
        "coral,group,genus,site,x_cm,y_cm,depth_cm,height_cm,open_sky,pinned,on,keep_apart_cm\n"
        "frag A,sps-shallow,,ridge,,,,6,,Yes,rock,8\n"
        "frag B,,Acropora,,10,20,5,,0.8,no,,\n"
        "frag C,clam,,,,,,,,,sand,\n"
    )
    places = [Place("f.csv", n, 1, line) for n, line in enumerate(text.splitlines(), 1)]
    spot = (0.1, 0.2, 0.05)
    assert read(read_corals, text) == [
        CoralRow("frag A", "sps-shallow", None, "ridge", None, 1.0, 0.06, True, "rock", 0.08, places[1]),
        CoralRow("frag B", None, "Acropora", None, spot, 0.8, 0.0, False, None, 0.0, places[2], own_sky=True),
        CoralRow("frag C", "clam", None, None, None, 1.0, 0.0, False, "sand", 0.0, places[3]),
    ]


@pytest.mark.identity
def test_columns_of_places_may_be_left_out(read):
    """A list of corals and groups is a list of corals without a place."""
    (row,) = read(read_corals, "coral,group\nA,clam\n")
    assert (row.site, row.spot) == (None, None)


@pytest.mark.identity
def test_sites_say_what_they_are(read):
    """The column on takes the four words, in any case."""
    rows = read(read_sites, "site,x_cm,y_cm,depth_cm,on\na,1,2,3,Rock\nb,1,2,3,\nc,1,2,3,sand\n")
    assert [row.on for row in rows] == ["rock", None, "sand"]


@pytest.mark.identity
def test_corals_of_words_alone_are_read(read):
    """A table without any number is a table all the same."""
    rows = read(read_corals, "coral,group,site\nA,zoanthid,ridge\nB,clam,ridge\n")
    assert [row.name for row in rows] == ["A", "B"]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("site,x_cm,y_in,depth_cm\nr,1,2,3\n", 'f.csv:1: the column "y_cm" is missing'),
        ("site,x_cm,y_in,depth_cm\nr,1,2,3\n", 'f.csv:1:11: unknown column "y_in"'),
        ("site,x_cm,y_in,depth_cm\nr,1,2,3\n", 'did you mean "y_cm" (its numbers are centimetres)?'),
        ("site,x,y_cm,depth_cm\nr,1,2,3\n", 'did you mean "x_cm" (its numbers are centimetres)?'),
        ("site,x_cm,y_cm,depth_cm,previous\nr,1,2,3,4\n", "remove the column"),
        ("site,x_cm,y_cm,depth_cm,colour\nr,1,2,3,4\n", "remove the column"),
        ("site,x_cm,y_cm,depth_cm,X_CM\nr,1,2,3,4\n", 'f.csv:1:25: the column "X_CM" stands twice'),
        ("site,x_cm,,y_cm,depth_cm\nr,1,2,3,4\n", "f.csv:1:11: column 3 has no name"),
        ("site,x_cm,y_cm,depth_cm\n,1,2,3\n", "f.csv:2:1: the site has no name"),
        ("site,x_cm,y_cm,depth_cm\nr,1,2,\n", "f.csv:2:7: a number is missing here"),
        ("site,x_cm,y_cm,depth_cm\nr,1 ells,2,3\n", 'f.csv:2:3: "1 ells" is not a number'),
        ("site,x_cm,y_cm,depth_cm\nr,0.4,0.2,0.3\n", "f.csv:1: all places lie next to one corner: are these"),
        ("site,x_cm,y_cm,depth_cm\nr,1,2\n", "f.csv:2: 3 cells, the header has 4"),
        ("site,x_cm,y_cm,depth_cm,open_sky\nr,1,2,3,half undr\n", 'f.csv:2:9: "half undr" is not known'),
        ("site,x_cm,y_cm,depth_cm,open_sky\nr,1,2,3,1.5\n", "f.csv:2:9: 1.5 is outside the range"),
        ("name,x_cm,y_cm,depth_cm\nr,1,2,3\n", 'no line names the column "site"'),
        ("", "f.csv: is empty"),
    ],
)
def test_doubtful_sites_are_refused_with_their_place(refused, text, says):
    """Every mistake in sites.csv names its cell and the cure."""
    assert says in refused(read_sites, text)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("coral,site\nA,ridge\n", 'f.csv:1: neither the column "group" nor genus'),
        ("coral,group,x_cm,y_cm\nA,clam,1,2\n", 'f.csv:1: the column "depth_cm" is missing'),
        ("coral,group,genus,site\nA,clam,Tridacna,r\n", "f.csv:2:1: group and genus stand together"),
        ("coral,group,genus,site\nA,,,r\n", "f.csv:2:1: neither group nor genus"),
        (
            "coral,group,site,x_cm,y_cm,depth_cm\nA,clam,r,1,2,3\n",
            "site and x_cm, y_cm, depth_cm stand together",
        ),
        ("coral,group,site,x_cm,y_cm,depth_cm\nA,clam,,1,,3\n", "f.csv:2:11: a number is missing here"),
        ("coral,group,site,height_cm\nA,clam,r,-2\n", "f.csv:2:10: the height -2 cm is below 0"),
        ("coral,group,site,height_cm\nA,clam,r,tall\n", 'f.csv:2:10: "tall" is not a number'),
        ("coral,group,site\n,clam,r\n", "f.csv:2:1: the coral has no name"),
        ("coral,group,site,pinned\nA,clam,r,1\n", 'f.csv:2:10: "1" is not known here'),
        ("coral,group,site,on\nA,clam,r,rok\n", "did you mean rock?"),
        ("coral,group,site,keep_apart_cm\nA,clam,r,-1\n", "f.csv:2:10: the keep_apart -1 cm is below 0"),
        ("coral,group,site,colour\nA,clam,r,1\n", 'f.csv:1:18: unknown column "colour"'),
        ("coral,group,site,colour\nA,clam,r,1\n", "mend it: remove the column"),
        ("coral,group,site,previous\nA,clam,r,1\n", "write a coral that has it as [[coral]] with previous"),
        ("coral,group,site,DLI_band\nA,clam,r,1\n", "write a coral that has it as [[coral]] with dli_band"),
        ("coral,group,site,hight\nA,clam,r,1\n", 'did you mean "height_cm" (its numbers are centimetres)?'),
        ("coral,grup,site\nA,clam,r\n", 'did you mean "group"?'),
    ],
)
def test_doubtful_corals_are_refused_with_their_place(refused, text, says):
    """Every mistake in corals.csv names its cell and the cure."""
    assert says in refused(read_corals, text)


@pytest.mark.identity
def test_all_problems_come_in_file_order_and_bounded(refused):
    """One run tells everything, up to a limit, and counts the rest."""
    few = refused(read_sites, "site,x_cm,y_cm,depth_cm\na,x,2,3\nb,1,2,\n")
    assert [line.split(": ")[0] for line in few.splitlines() if line.startswith("f.csv")] == [
        "f.csv:2:3",
        "f.csv:3:7",
    ]
    assert few.endswith("2 problems")
    many = refused(read_sites, "site,x_cm,y_cm,depth_cm\n" + "a,x,2,3\n" * 3000)
    assert "and 2950 more problems" in many


@pytest.mark.identity
def test_every_key_of_a_coral_is_a_column_or_is_named_as_none():
    """A key that `[[coral]]` takes and the table does not is told so, not misread as a slip."""
    columns = {name.removesuffix("_cm") for name in CORAL_COLUMNS}
    keys = set(CORAL.keys) - columns
    assert set(TABLE_ALONE) <= keys
    assert keys - set(TABLE_ALONE) <= {"name", "at", "faces", "growth"}  # other words for columns there are
