"""readings.csv: what is read, and every slip with its line."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from files.conftest import WriteSetup

from lightdose.errors import ReadingsError
from lightdose.files.readings_csv import read_readings
from lightdose.files.setup_file import read_setup
from lightdose.files.typed_values import stated_immersion, typed_reading
from lightdose.model.setup import Setup
from lightdose.model.spectrum import Reading

MORE = """
[[site]]
name = "ridge"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
[[site]]
name = "sand"
at = { x = "20 cm", y = "20 cm", height = "1 cm" }
[meter.handheld]
reads = "umol"
immersion = 1.2
[meter.phone]
reads = "lux"
[meter.other]
reads = "lux"
"""
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


# ---- what is read --------------------------------------------------------------------


@pytest.mark.identity
def test_reading_at_a_site_and_time(read: Read) -> None:
    """A site gives the place, the only meter of that unit is taken, and that is said."""
    (one,), said = read("site,reading,unit,time,date,note\nridge,182,umol_m2_s,13:30,2026-03-14,calm\n")
    assert (one.value, one.unit, one.site, one.time_h, one.levels) == (182.0, "umol", "ridge", 13.5, None)
    assert (one.x_m, one.y_m, one.depth_m) == pytest.approx((0.40, 0.20, 0.10))
    assert (one.meter, one.date, one.note, one.place.line) == ("handheld", "2026-03-14", "calm", 2)
    assert "readings.csv: rows without a meter read with handheld" in said


@pytest.mark.identity
def test_reading_in_the_air_with_levels(read: Read) -> None:
    """A negative depth is above the water; percent levels; a channel without a column was off."""
    (one,), said = read("x_cm;y_cm;depth_cm;reading;unit;blue\n40;20,5;-12;90,5;lux;75\n")
    assert (one.x_m, one.y_m, one.depth_m) == pytest.approx((0.40, 0.205, -0.12))
    assert one.levels == {("left", "blue"): 0.75}
    assert (one.value, one.unit, one.meter, one.under_water) == (90.5, "lux", None, False)
    assert "readings.csv: no column of levels for white: taken as off" in said


@pytest.mark.identity
def test_one_fixture_is_named_before_its_channel(read: Read) -> None:
    """FIXTURE/CHANNEL sets one fixture, and wins over the column for all of them."""
    (one,), _ = read("site,reading,unit,blue,left/blue,white\nridge,10,umol_m2_s,100,20,0\n")
    assert one.levels == {("left", "blue"): 0.2, ("left", "white"): 0.0}


@pytest.mark.identity
def test_a_unit_behind_a_length_counts(read: Read) -> None:
    """Columns in centimetres take 75mm, 0,2 m and 3 in as well."""
    (one, two), _ = read(
        "x_cm;y_cm;depth_cm;reading;unit;time\n75mm;0,2 m;3 in;9;lux;12:00\n40;20;7,5;9;lux;12:00\n"
    )
    assert (one.x_m, one.y_m, one.depth_m) == pytest.approx((0.075, 0.2, 0.0762))
    assert (two.x_m, two.y_m, two.depth_m) == pytest.approx((0.40, 0.2, 0.075))


# ---- slips ---------------------------------------------------------------------------

HEAD = "site,reading,unit,time,meter\n"


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "found"),
    [
        (HEAD + "ridge,-3,umol_m2_s,12:00,\n", "readings.csv:2:7: the reading -3 is negative"),
        (HEAD + "ridge,20000,umol_m2_s,12:00,\n", "this looks like lux: write lux in unit"),
        (HEAD + "ridge,900000,lux,12:00,phone\n", "the reading 900000 is above any plausible output"),
        (
            HEAD + "ridge,1e-9,umol_m2_s,12:00,handheld\n",
            "the reading 1e-09 is fainter than meters can tell from dark",
        ),
        (HEAD + "rigde,10,umol_m2_s,12:00,\n", "did you mean ridge?"),
        (HEAD + "cave,10,umol_m2_s,12:00,\n", 'readings.csv:2:1: there is no site "cave"'),
        (HEAD + "ridge,10,,12:00,\n", "the unit is blank"),
        (HEAD + "ridge,10,candles,12:00,\n", '"candles" is no unit of a reading'),
        (HEAD + "ridge,10,umol_m2_s,1300,\n", 'write "13:00"'),
        (HEAD + "ridge,10,umol_m2_s,,\n", "nothing says which channels were on"),
        (HEAD + "ridge,10,lux,12:00,handheld\n", 'meter "handheld" reads umol, this row is in lux'),
        (HEAD + "ridge,10,lux,12:00,fone\n", 'there is no meter "fone"'),
        ("site,reading,unit,blue,white\nridge,10,umol_m2_s,0,0\n", "all levels are 0: there was nothing to"),
        ("site,reading,unit,blue,white\nridge,10,umol_m2_s,0.5,0.2\n", "are these fractions?"),
        ("site,reading,unit,blue\nridge,10,umol_m2_s,130\n", "the level 130 is outside the range"),
        ("site,reading,unit,time,blue\nridge,10,umol_m2_s,12:00,50\n", "a time and levels stand together"),
        ("site,reading,unit\nridge,10,umol_m2_s\n", "nothing says which channels were on"),
        ("site,reading,time\nridge,10,12:00\n", 'the column "unit" is missing'),
        ("site,reading,unit,time,bleu\nridge,10,lux,12:00,50\n", "did you mean blue?"),
        ("site,reading,unit,time,immersion\nridge,10,lux,12:00,1.2\n", "it would be applied twice"),
        ("x_cm,y_cm,depth_cm,reading,unit,time\n10,20,55,9,lux,12:00\n", "depth_cm 55 is outside the water"),
        ("x_cm,y_cm,depth_cm,reading,unit,time\n10,,5,9,lux,12:00\n", "x_cm, y_cm and depth_cm go together"),
        ("site,reading,unit,time,date\nridge,10,umol,12:00,14.3.2026\n", "is not a date"),
        ("x_cm,y_cm,depth_cm,reading,unit,time\n0.4,0.2,0.1,9,lux,12:00\n", "are these metres?"),
        ("x_cm,y_cm,depth_cm,reading,unit,time\n400,20,-10,9,lux,12:00\n", "x 400 cm is far from the tank"),
        ("x_cm,y_cm,depth_cm,reading,unit,time\n1 ell,20,5,9,lux,12:00\n", '"1 ell" is not a number'),
    ],
)
def test_slip_is_refused_with_a_sentence(read: Read, text: str, found: str) -> None:
    """Where, what was found, and how to mend it."""
    with pytest.raises(ReadingsError) as caught:
        read(text)
    assert found in str(caught.value)
    assert "readings.csv:" in str(caught.value)


@pytest.mark.identity
def test_all_slips_come_in_one_run(read: Read) -> None:
    """Each row's problem is named, in the order of the lines."""
    with pytest.raises(ReadingsError) as caught:
        read(HEAD + "ridge,-3,umol_m2_s,12:00,\nridge,10,umol_m2_s,12:00,\ncave,10,lux,25:00,\n")
    lines = [p.place.line for p in caught.value.problems if p.place]
    assert lines == [2, 4, 4]


# ---- one reading on the command line ---------------------------------------------------


def words(setup: Setup, value: str, **given: str | None) -> Reading:
    asked = dict.fromkeys(("site", "air", "time", "unit", "meter")) | given
    return typed_reading(setup, value, **asked)  # type: ignore[arg-type]


@pytest.mark.identity
@pytest.mark.parametrize("air", ["20 cm, 22 cm, 10 cm", "20,22,10", "0,2 m; 0,22 m; 0,1 m"])
def test_place_in_the_air_as_typed(setup: Setup, air: str) -> None:
    """Lengths with units, bare centimetres, or decimal commas between semicolons."""
    one = words(setup, "182", air=air)
    assert (one.x_m, one.y_m, one.depth_m) == pytest.approx((0.20, 0.22, -0.10))


@pytest.mark.identity
def test_unit_follows_the_meter_that_is_named(setup: Setup) -> None:
    """A lux meter reads lux; a choice of two lux meters is not made for the keeper."""
    assert words(setup, "900", site="ridge", meter="phone").unit == "lux"
    assert words(setup, "900", site="ridge", unit="lux").meter is None
    assert words(setup, "90", site="ridge").meter == "handheld"


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("value", "given", "found"),
    [
        ("-4", {"site": "ridge"}, "the reading -4 is not above 0"),
        ("20000", {"site": "ridge"}, "this looks like lux: write --unit lux"),
        ("10", {"site": "cave"}, '--site "cave": there is no such site'),
        ("10", {"air": "1 cm, 2 cm"}, "is no place"),
        ("10", {"air": "10, 10, -5"}, "is not above the water"),
        ("10", {"air": "0.2, 0.2, 0.1"}, 'write "0.2 m", "0.2 m", "0.1 m" or "0.2 cm"'),
        ("10", {"air": "200, 100, 100"}, "--air: x 200 cm is far from the tank"),
        ("10", {"air": "20, 10, 3 ells"}, 'has the unknown unit "ells"'),
        ("10", {"site": "ridge", "meter": "fone"}, '--meter "fone": there is no such meter'),
        ("10", {"site": "ridge", "meter": "phone", "unit": "umol"}, "reads lux, and --unit says umol"),
        ("ten", {"site": "ridge"}, '"ten"'),
    ],
)
def test_slip_on_the_command_line_is_refused(
    setup: Setup, value: str, given: dict[str, str], found: str
) -> None:
    """One sentence each."""
    with pytest.raises(ReadingsError) as caught:
        words(setup, value, **given)
    assert found in str(caught.value)


@pytest.mark.identity
def test_immersion_is_stated_once(setup: Setup) -> None:
    """A meter that says nothing takes the option; one that does refuses it; in the air it has no place."""
    phone, handheld = setup.meters["phone"], setup.meters["handheld"]
    assert stated_immersion("1,3", phone, under_water=True) == pytest.approx(1.3)
    assert stated_immersion("unknown", phone, under_water=True) == "unknown"
    with pytest.raises(ReadingsError, match="applied twice"):
        stated_immersion("1.3", handheld, under_water=True)
    with pytest.raises(ReadingsError, match="in the air"):
        stated_immersion("1.3", phone, under_water=False)
    with pytest.raises(ReadingsError, match="outside the range"):
        stated_immersion("3", phone, under_water=True)
