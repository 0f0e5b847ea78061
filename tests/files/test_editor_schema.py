"""JSON Schemas for editors: equal to the code, accept every example, and agree with the readers.

A seeded corpus: every key of a full file takes values of a list, is left out, or is misspelt. What a schema
refuses the readers refuse; what they refuse a schema refuses too, but for the rules named in ``BEYOND``.
"""

from __future__ import annotations

import copy
import datetime
import json
import random
import re
import tomllib
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft7Validator
from make_schemas import FOLDER

from lightdose.errors import LightdoseError, Problem
from lightdose.files import calibration_file, fixture_file, groups_file, setup_schema
from lightdose.files.calibration_file import read_calibration
from lightdose.files.editor_schema import schemas
from lightdose.files.fixture_file import read_fixture_type
from lightdose.files.groups_file import default_groups, read_own_groups
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_file import read_setup
from lightdose.files.toml_tables import Table

EXAMPLES = FOLDER.parents[1]
KINDS = ("setup", "fixture", "groups", "calibration")

BEYOND = (
    # names of other things
    "no site is named", "no coral is known as", "may be any of", "is no group", "no emitter", "no file",
    "has no channel", "channel .* (has no|is not)", "the channels? ",
    # orders and sums
    "does not rise", "falls", "two or more points", "not two numbers", "are these fractions",
    "is (above|below) the (low|high) end", "names for \\d+ rows", "cannot be named on",
    "a row of the covariance", "is pinned and has no place",
    " W, and \\d channels? of it ",
    # lengths against ranges and the tank
    "beyond the", "below the floor", "above the water", "leaves the water", "\\d+ sites",
    '" is outside the range', "inside the .* pane",
    # what is solid
    "lies beyond", "lies in ", "stands in ", "needs a (diameter|height)", "are one point",
    "rock name .* twice",
    # what JSON cannot write, or no pattern can say
    "nan ", "8.0 is not a whole number", "(07:30:00|2026-03-01) is (not|no) ", "2026-13-99",
)  # fmt: skip
"""Words of the problems that only the readers can see: cross references, orders, ranges of lengths."""

FULL = {
    "setup": """
format = "lightdose-setup/1"
title = "made for this test"
[tank]
length = "30 in"
width = "0,45 m"
water_depth = "40 cm"
glass_thickness = "10 mm"
glass_index = 1.5
rim = "2 cm"
walls = { front = "clean", back = "painted", left = 0.4, right = "dark" }
floor_reflectance = 0.3
[water]
yellowing_440_per_m = 0.1
yellowing_slope_per_nm = 0.0165
refractive_index = 1.34
[cover]
transmittance = 0.9
[[fixture]]
name = "left"
type = "fixture.toml"
at = { x = "22 cm", y = "22 cm", height = "20 cm", rotation_deg = 10 }
schedule.blue = [["08:00", 0], ["9.30", 60.5], [17:00:00, 60], ["6 pm", 0]]
schedule.white = [["22:00", 10], ["02:00+1", 0]]
enabled = true
output_scale = 1.0
[[site]]
name = "ridge"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
open_sky = "half under"
on = "rock"
faces = "front"
[[rack]]
name = "A"
corner = { x = "10 cm", y = "10 cm", height = "15 cm" }
pitch = { x = "6 cm", y = "6 cm" }
columns = 4
rows = 2
row_names = ["A", "B"]
on = "rack"
[[coral]]
name = "one"
group = "sps-shallow"
site = "ridge"
height = "3 cm"
open_sky = 0.9
pinned = true
keep_apart = "5 cm"
on = "rock"
previous = "unknown"
dli_band = [3, 6.5]
peak_max = 200
faces = { toward_deg = 200, tilt_deg = 60 }
form = "dome"
diameter = "9 cm"
passes = 0.4
growth = { diameter = "0.6 cm", height = "0.3 cm" }
[[rock]]
name = "left arch"
shape = "box"
at = { x = "14 cm", y = "35 cm", height = "10 cm" }
size = { x = "10 cm", y = "12 cm", z = "20 cm" }
turn_deg = 20
reflectance = 0.2
[[rock]]
name = "boulder"
shape = "ellipsoid"
at = { x = "60 cm", y = "35 cm", depth = "36 cm" }
size = { x = "10 cm", y = "10 cm", z = "8 cm" }
[[brace]]
name = "middle brace"
from = { x = "30 cm", y = "0 cm" }
to = { x = "30 cm", y = "45 cm" }
width = "6 cm"
passes = 0.85
[[coral]]
name = "two"
genus = "Acropora"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
previous = 4.5
[electricity]
price_per_kwh = 0.3
currency = "EUR"
[meter.handheld]
reads = "umol"
response = { shape = "soft" }
calibrated_on = "led-b3"
immersion = 1.3
standard_uncertainty = 0.025
reads_up_to = 2000
[meter.phone]
reads = "lux"
immersion = "unknown"
[uncertainty]
beam_fraction = 0.1
height_cm = 1
""",
    "fixture": """
format = "lightdose-fixture/1"
name = "made for this test"
electrical_w = 39
aperture = { length = "40 cm", width = "0 cm" }
emitters = { count = 24, diameter = "8 mm" }
[[channel]]
name = "blue"
spectrum = { peak_nm = 445, fwhm_nm = 20 }
photon_flux_umol_s = 62
electrical_w = 24
beam = { fwhm_deg = 90 }
dimming = [[0, 0], [10, 7], [100, 100]]
[[channel]]
name = "white"
spectrum.mix = [ { library = "white-led-b4", share = 0.85 }, { peak_nm = 455, fwhm_nm = 22, share = 1 } ]
electrical_w = 14
radiant_efficiency = "typical"
beam = { table = [[0, 1], [30, 0.8], [60, 0]] }
""",
    "groups": """
format = "lightdose-coral-groups/1"
[group.mine]
name = "my acropora"
like = "sps-shallow"
genera = ["Acropora"]
dli_band = [6, 12]
peak_band = [200, 400]
dli_floor = 3
dli_ceiling = 25
ek_range = [200, 500]
source = "own records"
grade = "D"
""",
    "calibration": """
format = "lightdose-calibration/1"
date = 2026-03-14
readings = 3
meters = ["handheld"]
cautions = ["one sentence"]
yellowing = { per_m = 0.2, interval_95 = [0.1, 0.3] }
beam = [{ fixture = "left", nominal_fwhm_deg = 120, fwhm_deg = 95.5, interval_95 = [90, 100] }]
open_sky = [{ site = "ledge", value = 0.4, interval_95 = [0.3, 0.5] }]
height = [{ fixture = "left", height_m = 0.2, interval_95 = [0.1, 0.3] }]
together = [{ fixture = "left", factor = 0.93, interval_95 = [0.9, 0.96] }]
parameter = [{ kind = "gain", fixture = "left", channel = "blue", estimate = -0.1, covariance = [0.001] }]
earlier = [{ date = "2025-03-14", readings = 4, meters = [], gain = [] }]
[[gain]]
fixture = "left"
channel = "blue"
gain = 0.9
interval_95 = [0.8, 1.0]
nominal_umol_s = 60
stated = true
""",
}  # fmt: skip

VALUES: tuple[Any, ...] = (
    True, -1, 0, 0.5, 1, 3, 8.0, 101, 1e7, float("nan"), float("inf"),
    "", "  ", "12", "50 %", "10 cm", "-1 cm", "0 cm", "3000 cm", "1,500 mm", "1.5", "12 parsec", '9"', "3 FT",
    "0.25 Metre", "7:30", "24:01", "13 pm", "25:00", "0730", "clear", "Half  Under", "dark", "typical",
    "unknown", "built in", "LUX", "lux", "a\tb", "d65", "2026-13-99",
    [], [1], [2, 1], [1, 2], [1, 2, 3], ["a"], [{}],
    [[0, 0], [100, 100]], [[0, 0], [100, 90]], [["08:00", 0], ["09:00", 50]], [["08:00", 0]],
    [["08:00", 0], ["09:00", 150]], [["8", 0], ["09:00", 50]],
    {}, {"file": "x.csv"}, {"shape": "soft"}, {"shape": "round"}, {"fwhm_deg": 1},
    {"fwhm_deg": 60, "more": 1}, {"library": "blue-445"}, {"peak_nm": 445}, {"x": "1 cm"},
    datetime.time(7, 30), datetime.date(2026, 3, 1),
)  # fmt: skip


@cache
def validator(kind: str) -> Draft7Validator:
    schema = json.loads((FOLDER / f"{kind}.schema.json").read_text(encoding="utf-8"))
    Draft7Validator.check_schema(schema)
    return Draft7Validator(schema)


def as_editors_see(value: Any) -> Any:
    """TOML's own dates and times as text."""
    if isinstance(value, dict):
        return {k: as_editors_see(v) for k, v in value.items()}
    if isinstance(value, list):
        return [as_editors_see(v) for v in value]
    return value.isoformat() if isinstance(value, datetime.date | datetime.time) else value


def accepted(kind: str, data: dict[str, Any]) -> bool:
    return validator(kind).is_valid(as_editors_see(data))


def toml(value: Any) -> str:
    """A value as inline TOML."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return value.isoformat() if isinstance(value, datetime.date | datetime.time) else repr(value)


def mutations(data: dict[str, Any], most: int) -> Iterator[tuple[str, dict[str, Any]]]:
    """Every key with up to ``most`` values of ``VALUES``, left out, and misspelt."""
    seeded = random.Random(7)
    for path in paths(data):
        for value in seeded.sample(VALUES, min(most, len(VALUES))):
            yield (
                f"{path} = {value!r}",
                changed(data, path, lambda owner, key, v=value: owner.update({key: v})),
            )
        yield f"{path} left out", changed(data, path, lambda owner, key: owner.pop(key))
        yield f"{path} misspelt", changed(data, path, lambda o, key: o.update({f"{key}x": o.pop(key)}))
        yield f"{path} beside another", changed(data, path, lambda owner, _: owner.update({"unheard_of": 1}))


def paths(data: Any, path: tuple[str | int, ...] = ()) -> Iterator[tuple[str | int, ...]]:
    steps = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for step, value in steps:
        if isinstance(step, str):
            yield (*path, step)
        yield from paths(value, (*path, step))


def changed(
    data: dict[str, Any], path: tuple[str | int, ...], change: Callable[[dict[str, Any], str], object]
) -> dict[str, Any]:
    fresh = copy.deepcopy(data)
    owner: Any = fresh
    for step in path[:-1]:
        owner = owner[step]
    change(owner, str(path[-1]))
    return fresh


class Readers:
    """What the readers say to the text of a file."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        (folder / "fixture.toml").write_text(FULL["fixture"], encoding="utf-8")

    def problems(self, kind: str, data: dict[str, Any]) -> tuple[Problem, ...]:
        path = self.folder / f"changed-{kind}.toml"
        path.write_text("\n".join(f"{json.dumps(k)} = {toml(v)}" for k, v in data.items()), encoding="utf-8")
        files = InputFiles()
        try:
            match kind:
                case "setup":
                    read_setup(path)
                case "groups":
                    read_own_groups(path, path.name, default_groups()[0])
                case "fixture":
                    read_fixture_type(path, files)
                case _:
                    read_calibration(path, files)
        except LightdoseError as refusal:
            return refusal.problems
        return tuple(files.problems)


@pytest.mark.identity
def test_shipped_schemas_are_what_the_tables_of_keys_give() -> None:
    """`python tests/make_schemas.py` would change nothing."""
    assert {p.name: p.read_text(encoding="utf-8") for p in FOLDER.iterdir()} == schemas()


@pytest.mark.identity
def test_every_example_is_accepted_and_names_its_schema() -> None:
    """Each TOML file under examples/ begins with a path to its schema, which accepts it."""
    examples = sorted(p for p in EXAMPLES.rglob("*.toml") if "diary" not in p.parts)  # kept states are copies
    assert len(examples) >= 2
    for path in examples:
        text = path.read_text(encoding="utf-8")
        named = re.match(r"#:schema (\.\.?/\S+)\n", text)
        assert named, path
        schema = (path.parent / named[1]).resolve()
        assert schema.parent == FOLDER, path
        assert accepted(schema.name.split(".")[0], tomllib.loads(text)), path


@pytest.mark.identity
@pytest.mark.parametrize("kind", KINDS)
def test_full_file_is_accepted_by_schema_and_reader(kind: str, tmp_path: Path) -> None:
    """The files that the corpus starts from hold every form of the tables they show."""
    data = tomllib.loads(FULL[kind])
    assert list(validator(kind).iter_errors(as_editors_see(data))) == []
    assert Readers(tmp_path).problems(kind, data) == ()


@pytest.mark.identity
@pytest.mark.parametrize("most", [3, pytest.param(len(VALUES), marks=pytest.mark.slow)])
@pytest.mark.parametrize("kind", KINDS)
def test_schema_and_reader_agree_on_every_single_change(kind: str, most: int, tmp_path: Path) -> None:
    """No change is refused by the schema alone; what the reader alone refuses is beyond a schema."""
    readers, beyond = Readers(tmp_path), re.compile("|".join(BEYOND), re.IGNORECASE)
    apart = []
    counts = {True: 0, False: 0}
    for label, data in mutations(tomllib.loads(FULL[kind]), most):
        problems = readers.problems(kind, data)
        by_schema = accepted(kind, data)
        counts[by_schema] += 1
        if by_schema != (not problems) and not (
            by_schema and all(beyond.search(str(p.found)) for p in problems)
        ):
            apart.append(f"{label}: schema {by_schema}, reader {[p.found for p in problems]}")
    assert apart == []
    assert min(counts.values()) > most


@pytest.mark.identity
def test_every_key_says_in_the_schema_what_it_takes() -> None:
    """No key is left open: each has a type, a choice, forms or a reference, and a description."""
    tables: dict[str, dict[str, Table]] = {
        "setup": {"": setup_schema.SETUP, **setup_schema.TABLES},
        "fixture": {"": fixture_file.FIXTURE_FILE, **fixture_file.TABLES},
        "groups": {"group": groups_file.own_group_table()},
        "calibration": {"": calibration_file.TOP, **calibration_file.TABLES},
    }
    for kind, found in tables.items():
        described = [part["properties"] for part in objects(validator(kind).schema)]
        for table, keys in found.items():
            assert any(set(keys.keys) == set(properties) for properties in described), (kind, table)
        for properties in described:
            for key, schema in properties.items():
                assert {"type", "enum", "anyOf", "allOf", "$ref"} & set(schema), (kind, key)
                assert schema.get("description") or "$ref" in schema or key in ("shape", "file"), (kind, key)


def objects(part: Any) -> Iterator[dict[str, Any]]:
    if isinstance(part, dict):
        if isinstance(part.get("properties"), dict):
            yield part
        for value in part.values():
            yield from objects(value)
    elif isinstance(part, list):
        for value in part:
            yield from objects(value)
