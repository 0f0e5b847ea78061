"""Sites, racks and corals of a setup, inline and from CSV."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from lightdose.errors import Problem, SetupError
from lightdose.files.setup_file import read_setup
from lightdose.files.setup_remarks import COLUMN, PANEL
from lightdose.model.forms import OPEN_SKY_WORDS
from lightdose.model.setup import Coral, Setup, Site

WriteSetup = Callable[..., Path]

RIDGE = '[[site]]\nname = "ridge"\nat = { x = "40 cm", y = "20 cm", depth = "10 cm" }\n'
RACK = """\
[[rack]]
name = "A"
corner = { x = "10 cm", y = "10 cm", depth = "15 cm" }
pitch = { x = "6 cm", y = "5 cm" }
columns = 3
rows = 2
"""
CORAL = '[[coral]]\nname = "frag"\ngroup = "sps-shallow"\nsite = "ridge"\n'


def only_problem(path: Path) -> Problem:
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    (problem,) = caught.value.problems
    assert problem.place is not None
    return problem


def named(setup: Setup) -> dict[str, Site]:
    return {site.name: site for site in setup.sites}


# ---- sites ----------------------------------------------------------------------------------------------


@pytest.mark.identity
def test_site_takes_depth_or_height_above_the_floor(write_setup: WriteSetup) -> None:
    """height counts up from the floor; open sky is 1 by default."""
    sand = '[[site]]\nname = "sand"\nat = { x = "4 in", y = "0 cm", height = "4 cm" }\n'
    sites = named(read_setup(write_setup(RIDGE + sand)))
    assert sites["ridge"] == Site("ridge", 0.40, 0.20, 0.10)
    assert sites["sand"].x_m == pytest.approx(0.1016, abs=1e-15)
    assert sites["sand"].depth_m == pytest.approx(0.36, abs=1e-15)
    assert sites["sand"].open_sky == 1.0
    assert not sites["sand"].implicit


@pytest.mark.identity
@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("0.35", 0.35),
        ("0", 0.0),
        ("1", 1.0),
        *((f'"{word}"', value) for word, value in OPEN_SKY_WORDS.items()),
    ],
)
def test_open_sky_takes_a_number_or_words(write_setup: WriteSetup, written: str, value: float) -> None:
    """The four expressions of the contract, and any number from 0 to 1."""
    (site,) = read_setup(write_setup(RIDGE + f"open_sky = {written}\n")).sites
    assert site.open_sky == value


@pytest.mark.pinned
def test_words_for_open_sky_are_those_of_the_contract() -> None:
    """The four words of the contract, with the values that traced scenes gave them."""
    assert OPEN_SKY_WORDS == {
        "clear": 1.0,
        "neighbour on one side": 0.8,
        "half under": 0.35,
        "under a ledge": 0.03,
    }


@pytest.mark.identity
def test_shade_in_words_is_echoed_with_its_range_and_a_better_way(
    write_setup: WriteSetup, tmp_path: Path
) -> None:
    """`check` says how words were taken, and where; numbers and open places need none of it."""
    (tmp_path / "sites.csv").write_text(
        "site,x_cm,y_cm,depth_cm,open_sky\na,1,1,1,Under  a ledge\nb,2,2,2,0.2\n"
    )
    more = RIDGE + 'open_sky = "under a ledge"\n[[coral]]\nname = "disc"\ngroup = "mushroom"\n'
    more += 'at = { x = "3 cm", y = "2 cm", depth = "1 cm" }\nopen_sky = "half under"\n'
    text = write_setup().read_text().replace("\n", '\nsites = "sites.csv"\n', 1)
    setup = read_setup(write_setup(more, setup=text))
    told = [line for line in setup.understood if "in traced tanks" in line]
    assert [line.split(";")[0] for line in told] == [
        '"half under" taken as 0.35 of the open light, 0.24-0.5 in traced tanks: disc',
        '"under a ledge" taken as 0.03 of the open light, 0.01-0.15 in traced tanks: ridge, a',
    ]
    assert all("[[rock]], or take a reading there" in line for line in told)


@pytest.mark.identity
def test_columns_and_panels_are_named_for_what_they_do(write_setup: WriteSetup) -> None:
    """A tank deeper than twice its narrower side, and a fixture of 10 cm or more, are said; others not."""
    plain = read_setup(write_setup()).understood
    assert not any(line == COLUMN or line.endswith(PANEL) for line in plain)
    deep = write_setup().read_text().replace('width = "45 cm"', 'width = "19 cm"')
    wide = (write_setup().parent / "panel.toml").read_text()
    wide = wide.replace("[[channel]]", 'aperture = { length = "12 cm", width = "4 cm" }\n[[channel]]', 1)
    said = read_setup(write_setup(setup=deep.replace('y = "22 cm"', 'y = "9 cm"'), fixture=wide)).understood
    assert COLUMN in said
    assert f"left: {PANEL}" in said


@pytest.mark.identity
def test_places_on_the_walls_and_the_floor_are_inside(write_setup: WriteSetup) -> None:
    """Edges belong to the water, however the lengths round."""
    text = write_setup().read_text().replace('"75 cm"', '"30 in"').replace('"40 cm"\n', '"16 in"\n')
    corner = '[[site]]\nname = "c"\nat = { x = "76.2 cm", y = "45 cm", depth = "40.64 cm" }\n'
    floor = '[[site]]\nname = "f"\nat = { x = "0 cm", y = "0 cm", height = "0 cm" }\n'
    sites = named(read_setup(write_setup(corner + floor, setup=text)))
    assert sites["f"].depth_m == sites["c"].depth_m == pytest.approx(0.4064, abs=1e-12)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("at", "column", "found", "allowed"),
    [
        (
            'x = "80 cm", y = "2 cm", depth = "1 cm"',
            12,
            'x: "80 cm" is beyond the right wall',
            "0 to 75 cm (tank.length)",
        ),
        (
            'x = "8 cm", y = "50 cm", depth = "1 cm"',
            24,
            'y: "50 cm" is beyond the back wall',
            "0 to 45 cm (tank.width)",
        ),
        (
            'x = "8 cm", y = "5 cm", depth = "55 cm"',
            40,
            'depth: "55 cm" is below the floor',
            "0 to 40 cm (tank.water_depth)",
        ),
        (
            'x = "8 cm", y = "5 cm", height = "41 cm"',
            41,
            'height: "41 cm" is above the water',
            "0 to 40 cm (tank.water_depth)",
        ),
        ('x = "-8 cm", y = "5 cm", depth = "1 cm"', 12, 'x: "-8 cm" is outside the range', "0 cm to 2000 cm"),
        (
            'x = "8 cm", y = "5 cm"',
            6,
            "at: neither depth nor height",
            "depth below the surface, or height above the floor",
        ),
        (
            'x = "8 cm", y = "5 cm", depth = "1 cm", height = "2 cm"',
            6,
            "at: depth and height stand together",
            "depth below the surface, or height above the floor",
        ),
    ],
)
def test_site_outside_the_water_is_named_at_its_coordinate(
    write_setup: WriteSetup, at: str, column: int, found: str, allowed: str
) -> None:
    """The place of the problem is the number itself, with the tank's limit and the key it comes from."""
    problem = only_problem(write_setup(f'[[site]]\nname = "s"\nat = {{ {at} }}\n'))
    assert problem.found == f"site[1] 's' {found}"
    assert problem.allowed == allowed
    assert problem.place is not None
    assert (problem.place.line, problem.place.column) == (14, column)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("line", "found", "cure"),
    [
        ('open_sky = "half"', 'open_sky: "half" is not known here', "did you mean half under?"),
        ("open_sky = 50", "open_sky: 50 is outside the range", ""),
        ("open_sky = true", "open_sky: true is not an open sky", ""),
        ("depht = 3", "the key depht is not known", ""),
    ],
)
def test_slip_in_a_site_is_named(write_setup: WriteSetup, line: str, found: str, cure: str) -> None:
    """Values that open_sky does not take, and unknown keys."""
    problem = only_problem(write_setup(RIDGE + line + "\n"))
    assert problem.found.endswith(found)
    assert problem.cure == cure


@pytest.mark.identity
def test_site_names_stand_once_over_all_sources(write_setup: WriteSetup) -> None:
    """[[site]], rack and CSV share one set of names; the first place is told."""
    twice = only_problem(write_setup(RIDGE + RIDGE))
    assert twice.found == "the site name 'ridge' stands twice"
    assert ":13:8" in twice.cure
    assert only_problem(write_setup(RACK + RIDGE.replace("ridge", "B2"))).found.endswith("'B2' stands twice")
    path = write_setup(RIDGE, sites__csv="site,x_cm,y_cm,depth_cm\nridge,1,1,1\n")
    path.write_text('sites = "sites.csv"\n' + path.read_text())
    problem = only_problem(path)
    assert problem.place is not None
    assert (Path(problem.place.file).name, problem.place.line) == ("sites.csv", 2)


@pytest.mark.identity
def test_sites_csv_is_in_centimetres_and_checked_against_the_tank(write_setup: WriteSetup) -> None:
    """Numbers of the file are centimetres; a place outside the water is named at its row."""
    good = "site;x_cm;y_cm;depth_cm;open_sky\na;10,5;20;30;0,5\nb;1;2;3;under a ledge\nc;1;2;3;\n"
    path = write_setup(sites__csv=good)
    path.write_text('sites = "sites.csv"\n' + path.read_text())
    sites = named(read_setup(path))
    assert sites["a"] == Site("a", 0.105, 0.20, 0.30, 0.5, own_sky=True)
    assert [sites[n].open_sky for n in "bc"] == [0.03, 1.0]
    (path.parent / "sites.csv").write_text("site,x_cm,y_cm,depth_cm\na,80,1,1\n")
    problem = only_problem(path)
    assert problem.found == "site 'a' x: 80 cm is outside the water"
    assert problem.allowed == "0 to 75 cm (tank.length)"


# ---- racks ----------------------------------------------------------------------------------------------


@pytest.mark.identity
def test_rack_makes_its_sites_row_by_row(write_setup: WriteSetup) -> None:
    """A1, A2, A3, then B1 ...; x grows with the column, y with the row, all at the corner's depth."""
    setup = read_setup(write_setup(RACK))
    assert [s.name for s in setup.sites] == ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert {s.rack for s in setup.sites} == {"A"}
    assert {(s.depth_m, s.open_sky) for s in setup.sites} == {(0.15, 1.0)}
    b3 = named(setup)["B3"]
    assert (b3.x_m, b3.y_m) == (pytest.approx(0.22, abs=1e-15), pytest.approx(0.15, abs=1e-15))


@pytest.mark.identity
@pytest.mark.parametrize(
    ("name", "more", "first"),
    [
        ("C", "", ["C1", "D1"]),
        ("rack a", "", ["rack a1", "rack b1"]),
        ("front", 'row_names = ["F", "G"]', ["F1", "G1"]),
        ("A", 'row_names = ["upper ", "lower"]', ["upper1", "lower1"]),
    ],
)
def test_rows_of_a_rack_are_named_on_or_by_row_names(
    write_setup: WriteSetup, name: str, more: str, first: list[str]
) -> None:
    """Letters go on from the rack's name; row_names replace them."""
    setup = read_setup(write_setup(RACK.replace('"A"', f'"{name}"') + more + "\n"))
    assert [s.name for s in setup.sites if s.name.endswith("1")] == first


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('"A"', '"Z"', "name: from 'Z' 2 rows cannot be named on, letter by letter"),
        ('"A"', '"front"', "name: from 'front' 2 rows cannot be named on, letter by letter"),
        ("rows = 2", 'rows = 2\nrow_names = ["A"]', "row_names: 1 names for 2 rows"),
        ("columns = 3", "columns = 0", "columns: 0 is outside the range"),
        ("columns = 3", "columns = 2.5", "columns: 2.5 is not a whole number"),
        ("columns = 3", "columns = 20", "pitch x: 20 sites reach to 124 cm, beyond the wall"),
        ("rows = 2", "rows = 9", "pitch y: 9 sites reach to 50 cm, beyond the wall"),
        ('depth = "15 cm"', 'depth = "45 cm"', 'corner depth: "45 cm" is below the floor'),
        ('pitch = { x = "6 cm", y = "5 cm" }', 'pitch = { x = "6 cm" }', "pitch: the key y is missing"),
        ('pitch = { x = "6 cm", y = "5 cm" }', 'pitch = "6 cm"', 'pitch: "6 cm" is not a table'),
    ],
)
def test_slip_in_a_rack_is_named(write_setup: WriteSetup, old: str, new: str, found: str) -> None:
    """A rack that cannot be named, or does not fit the tank."""
    problem = only_problem(write_setup(RACK.replace(old, new)))
    assert problem.found.endswith(found)


@pytest.mark.identity
def test_more_sites_than_the_limit_are_refused_once(write_setup: WriteSetup) -> None:
    """20,000 sites in all; one more is one problem."""
    big = RACK.replace("columns = 3", "columns = 10000").replace('x = "6 cm"', 'x = "0 cm"')
    assert len(read_setup(write_setup(big)).sites) == 20_000
    with pytest.raises(SetupError) as caught:
        read_setup(write_setup(RIDGE + big))
    assert [p.allowed for p in caught.value.problems] == ["up to 20,000 sites in all"]


# ---- corals ---------------------------------------------------------------------------------------------


@pytest.mark.identity
def test_coral_takes_every_default_of_the_contract(write_setup: WriteSetup) -> None:
    """Judged at its site, under the site's sky, free to move, no dose of its own."""
    (coral,) = read_setup(write_setup(RIDGE + CORAL)).corals
    assert coral == Coral("frag", "sps-shallow", "ridge")
    assert (coral.height_m, coral.open_sky, coral.pinned, coral.keep_apart_m) == (0.0, 1.0, False, 0.0)
    assert (coral.previous, coral.band_dli, coral.peak_max, coral.genus) == (None, None, None, None)


@pytest.mark.identity
def test_coral_takes_every_key(write_setup: WriteSetup) -> None:
    """All keys of [[coral]]."""
    more = (
        'height = "6 cm"\nopen_sky = "half under"\npinned = true\nkeep_apart = "8 cm"\nprevious = 4.6\n'
        "dli_band = [3, 6]\npeak_max = 200\n"
    )
    (coral,) = read_setup(write_setup(RIDGE + CORAL + more)).corals
    expected = Coral("frag", "sps-shallow", "ridge", None, 0.06, 0.35, True, 0.08, 4.6, (3.0, 6.0), 200.0)
    assert coral == replace(expected, own_sky=True, sky_word="half under")
    (coral,) = read_setup(write_setup(RIDGE + CORAL + 'previous = "unknown"\n')).corals
    assert coral.previous == "unknown"


@pytest.mark.identity
def test_places_and_corals_say_what_they_are_and_want(write_setup: WriteSetup) -> None:
    """The key on of sites and corals; a rack's places are a rack unless it is said otherwise."""
    rack = '[[rack]]\nname = "A"\ncorner = { x = "1 cm", y = "1 cm", depth = "1 cm" }\n'
    rack += 'pitch = { x = "1 cm", y = "1 cm" }\ncolumns = 1\nrows = 1\n'
    setup = read_setup(write_setup(RIDGE + 'on = "rock"\n' + rack + CORAL + 'on = "sand"\n'))
    assert [site.on for site in setup.sites] == ["rock", "rack"]
    assert setup.corals[0].on == "sand"
    loose = read_setup(write_setup(rack + 'on = "wall"\n'))
    assert loose.sites[0].on == "wall"


@pytest.mark.identity
def test_coral_without_a_place_is_apart_from_those_that_light_judges(write_setup: WriteSetup) -> None:
    """In a table as in corals.csv; check names it with its line, and its name is taken."""
    lost = '[[coral]]\nname = "new"\ngroup = "clam"\n'
    path = write_setup(RIDGE + CORAL + lost, corals__csv="coral,group,site\na,mushroom,\n")
    path.write_text('corals = "corals.csv"\n' + path.read_text())
    setup = read_setup(path)
    assert [c.name for c in setup.corals] == ["frag"]
    assert [(c.name, c.site) for c in setup.unplaced] == [("new", ""), ("a", "")]
    said = next(s for s in setup.understood if s.startswith("no place yet: new ("))
    assert "corals.csv:2); `lightdose place` finds one" in said
    path.write_text(path.read_text() + lost)
    assert only_problem(path).found == "the coral name 'new' stands twice"


@pytest.mark.identity
def test_several_corals_at_one_site_are_said(write_setup: WriteSetup) -> None:
    """They are allowed and named; a site with one coral is no news."""
    setup = read_setup(write_setup(RIDGE + CORAL + CORAL.replace("frag", "plug")))
    assert any(s.startswith("more than one coral at a site: ridge (frag, plug);") for s in setup.understood)
    assert not any("more than one" in s for s in read_setup(write_setup(RIDGE + CORAL)).understood)


@pytest.mark.identity
@pytest.mark.parametrize("genus", ["Acropora", "acropora", "ACROPORA"])
def test_genus_names_the_group_whatever_its_capitals(write_setup: WriteSetup, genus: str) -> None:
    """A keeper may know the genus and not the group."""
    (coral,) = read_setup(
        write_setup(RIDGE + CORAL.replace('group = "sps-shallow"', f'genus = "{genus}"'))
    ).corals
    assert (coral.group, coral.genus) == ("sps-shallow", genus)


@pytest.mark.identity
def test_coral_with_a_spot_of_its_own_makes_a_site(write_setup: WriteSetup) -> None:
    """The implicit site is named like the coral and takes its open sky."""
    text = CORAL.replace('site = "ridge"', 'at = { x = "4 cm", y = "5 cm", height = "6 cm" }\nopen_sky = 0.5')
    setup = read_setup(write_setup(RIDGE + text))
    expected = Site("frag", 0.04, 0.05, pytest.approx(0.34), 0.5, implicit=True, own_sky=True)  # type: ignore[arg-type]
    assert named(setup)["frag"] == expected
    assert (setup.corals[0].site, setup.corals[0].open_sky) == ("frag", 1.0)
    assert setup.understood[-1] == "1 site and 1 more where corals sit, 1 coral"


@pytest.mark.identity
def test_corals_csv_joins_the_corals_of_the_setup(write_setup: WriteSetup) -> None:
    """Group or genus, site or coordinates, height in centimetres, open sky in words."""
    text = (
        "coral,group,genus,site,x_cm,y_cm,depth_cm,open_sky,height_cm\n"
        "a,mushroom,,ridge,,,,,\n"
        "b,,Montipora,,10,20,30,half under,4\n"
    )
    path = write_setup(RIDGE + CORAL, corals__csv=text)
    path.write_text('corals = "corals.csv"\n' + path.read_text())
    setup = read_setup(path)
    assert [c.name for c in setup.corals] == ["frag", "a", "b"]
    assert setup.corals[1] == Coral("a", "mushroom", "ridge")
    assert setup.corals[2] == Coral("b", "sps-plating", "b", "Montipora", 0.04)
    assert named(setup)["b"] == Site(
        "b", 0.10, 0.20, 0.30, 0.35, implicit=True, own_sky=True, sky_word="half under"
    )


@pytest.mark.identity
def test_own_groups_may_be_named_and_their_genera_too(write_setup: WriteSetup) -> None:
    """my-groups.toml adds a group; its genus means it from then on."""
    groups = (
        '[group.mine]\nname = "my own"\nlike = "sps-shallow"\ngenera = ["Acropora"]\ndli_band = [6, 12]\n'
    )
    path = write_setup(RIDGE + CORAL.replace('group = "sps-shallow"', 'genus = "acropora"'), my__toml=groups)
    path.write_text('groups = "my.toml"\n' + path.read_text())
    setup = read_setup(path)
    assert setup.corals[0].group == "mine"
    assert setup.groups["mine"].band_dli == (6.0, 12.0)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("old", "new", "found", "cure"),
    [
        ('"sps-shallow"', '"sps-shalow"', 'no coral is known as "sps-shalow"', "did you mean sps-shallow?"),
        (
            'group = "sps-shallow"',
            'genus = "Acropra"',
            'no coral is known as "Acropra"',
            "did you mean Acropora?",
        ),
        ('"sps-shallow"', '"green torch"', 'no coral is known as "green torch"', "did you mean torch?"),
        ('"sps-shallow"', '"zzz"', 'no coral is known as "zzz"', "name the group that looks like it"),
        ('"sps-shallow"', '"brain coral"', '"brain coral" may be any of 2 groups', "name one of them"),
        (
            'group = "sps-shallow"\n',
            "",
            "coral[1] 'frag': neither group nor genus",
            'add group = "...", or genus = "..."',
        ),
        (
            'group = "sps-shallow"',
            'group = "soft"\ngenus = "Xenia"',
            "coral[1] 'frag': group and genus stand together",
            "keep one of them",
        ),
        ('"ridge"', '"rigde"', "no site is named 'rigde'", "did you mean ridge?"),
        (
            'site = "ridge"',
            'site = "ridge"\nheight = "12 cm"',
            "coral 'frag' leaves the water: 12 cm tall",
            "",
        ),
        (
            'site = "ridge"',
            'site = "ridge"\npinned = "yes"',
            "coral[1] 'frag' pinned: \"yes\" is neither true nor false",
            "",
        ),
        (
            'site = "ridge"',
            'site = "ridge"\nprevious = "none"',
            "coral[1] 'frag' previous: \"none\" is not a daily dose",
            "",
        ),
        (
            'site = "ridge"',
            'site = "ridge"\nprevious = -1',
            "coral[1] 'frag' previous: -1 is outside the range",
            "",
        ),
        (
            'site = "ridge"',
            'site = "ridge"\ndli_band = [6, 3]',
            "coral[1] 'frag' dli_band: [6, 3] does not rise within the allowed range",
            "",
        ),
        (
            'site = "ridge"',
            'site = "ridge"\ndli_band = 6',
            "coral[1] 'frag' dli_band: 6 is not a pair of numbers",
            "",
        ),
        (
            'site = "ridge"',
            'site = "ridge"\npeak_max = 0',
            "coral[1] 'frag' peak_max: 0 is outside the range",
            "",
        ),
    ],
)
def test_slip_in_a_coral_is_one_problem(
    write_setup: WriteSetup, old: str, new: str, found: str, cure: str
) -> None:
    """Groups, genera and sites get suggestions; a coral taller than the water is refused."""
    problem = only_problem(write_setup(RIDGE + CORAL.replace(old, new)))
    assert problem.found == found
    assert problem.cure == cure


@pytest.mark.identity
def test_coral_at_a_site_with_problems_adds_none(write_setup: WriteSetup) -> None:
    """One slip, one problem: the coral at the site that is outside is not called lost."""
    problem = only_problem(write_setup(RIDGE.replace('"10 cm"', '"50 cm"') + CORAL))
    assert problem.found.endswith('depth: "50 cm" is below the floor')


@pytest.mark.identity
def test_coral_on_a_rack_with_problems_adds_none(write_setup: WriteSetup) -> None:
    """A rack that could not be made leaves its corals without blame."""
    rack = RACK.replace("columns = 3", "columns = 30")
    problem = only_problem(write_setup(rack + CORAL.replace("ridge", "B2")))
    assert problem.found.endswith("beyond the wall")


@pytest.mark.identity
def test_coral_names_stand_once(write_setup: WriteSetup) -> None:
    """Two corals of one name cannot be told apart."""
    assert only_problem(write_setup(RIDGE + CORAL + CORAL)).found == "the coral name 'frag' stands twice"


@pytest.mark.identity
def test_names_with_markup_and_emoji_stay_as_written(write_setup: WriteSetup) -> None:
    """Letters of any script, brackets and 200 characters are names."""
    name = "[red]x[/] \U0001f419 <b>&" + "n" * 180
    setup = read_setup(write_setup(RIDGE + CORAL.replace('"frag"', f"'{name}'")))
    assert setup.corals[0].name == name
