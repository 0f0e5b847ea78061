"""Fields of the page: every key of the files has one, or is shown as in the file only."""

from __future__ import annotations

from pathlib import Path

import pytest
from desk.desk_tanks import copied

from lightdose.desk import shown
from lightdose.desk.keys import FILE_ONLY, field_of, fields_of, keys_of, typed
from lightdose.desk.session import Desk
from lightdose.files.fixture_file import TABLES as FIXTURE_TABLES
from lightdose.files.setup_schema import SETUP, TABLES
from lightdose.files.toml_tables import Table
from lightdose.files.units import UnitProblem

OUTER = [name for name in TABLES if "." not in name]


def paths_of(keys: Table, lead: str = "") -> set[str]:
    """Every key of a table with its inner ones."""
    found: set[str] = set()
    for name, key in keys.keys.items():
        inner = key.kind.table
        found |= paths_of(inner, f"{lead}{name}.") if inner is not None else {f"{lead}{name}"}
    return found


@pytest.mark.identity
@pytest.mark.parametrize("table", [*OUTER, "setup", "kind", "channel"])
def test_every_key_is_a_field_or_in_the_file_only(table: str) -> None:
    """No key of a setup or of a lamp's kind is missing on the page."""
    fields = {one.path for one in fields_of(table)}
    only = {key.partition(".")[2] for key in FILE_ONLY if key.startswith(f"{table}.")}
    assert not fields & only
    assert fields | only == paths_of(keys_of(table))


@pytest.mark.identity
def test_no_table_of_the_files_is_forgotten() -> None:
    """The tables with fields are all that the readers know."""
    assert set(SETUP.keys) == set(OUTER) | set(keys_of("setup").keys)
    own = {name for name in FIXTURE_TABLES if "(" not in name}
    assert own == {"aperture", "emitters", "channel"}


@pytest.mark.identity
@pytest.mark.parametrize(
    ("table", "path", "text", "value"),
    [
        ("coral", "height", "6", "6 cm"),
        ("coral", "height", "6,5", "6.5 cm"),
        ("coral", "height", '2 "', '2 "'),
        ("coral", "pinned", "yes", True),
        ("coral", "dli_band", "3 to 6", [3.0, 6.0]),
        ("coral", "dli_band", "2.5-6", [2.5, 6.0]),
        ("coral", "open_sky", "0,4", 0.4),
        ("coral", "open_sky", "Half  under", "half under"),
        ("coral", "previous", "unknown", "unknown"),
        ("tank", "walls.back", "painted", "painted"),
        ("rack", "columns", "8", 8),
        ("rack", "row_names", "A, B", ["A", "B"]),
        ("channel", "radiant_efficiency", "typical", "typical"),
        ("coral", "name", "  ü   b ", "ü b"),
        ("coral", "height", " ", None),
    ],
)
def test_what_is_typed_becomes_a_value_of_the_file(table: str, path: str, text: str, value: object) -> None:
    """People type as they speak; what is written is what the readers take."""
    assert typed(field_of(table, path), text, "cm") == value


@pytest.mark.identity
@pytest.mark.parametrize(("path", "text"), [("passes", "many"), ("dli_band", "3"), ("peak_max", "1e400")])
def test_what_is_no_value_is_refused(path: str, text: str) -> None:
    """A slip is told before anything changes."""
    with pytest.raises(UnitProblem):
        typed(field_of("coral", path), text, "cm")


@pytest.mark.identity
@pytest.mark.parametrize("path", ["schedule", "type", "nonsense"])
def test_key_of_the_file_only_has_no_field(path: str) -> None:
    """Nothing but a field is changed by typing."""
    with pytest.raises(UnitProblem):
        field_of("fixture", path)


SET = {
    ("coral", "staghorn frag"): {
        "name": "green staghorn",
        "genus": "Montipora",
        "height": "5",
        "open_sky": "0.7",
        "pinned": "yes",
        "keep_apart": "4",
        "on": "rock",
        "previous": "4.6",
        "dli_band": "3 to 6",
        "peak_max": "400",
        "faces": "front",
        "diameter": "3",
        "form": "dome",
        "passes": "0.2",
        "growth.diameter": "0.4",
        "growth.height": "0.2",
    },
    ("tank", ""): {
        "length": "76",
        "width": "46",
        "water_depth": "41",
        "glass_thickness": "8 mm",
        "glass_index": "1.5",
        "rim": "2",
        "walls.left": "painted",
        "walls.front": "0.1",
        "floor_reflectance": "0.2",
    },
    ("fixture", "left"): {
        "name": "links",
        "at.x": "21",
        "at.y": "23",
        "at.height": "24",
        "at.rotation_deg": "80",
        "enabled": "no",
        "output_scale": "0.9",
    },
    ("rock", "rock foot"): {
        "shape": "ellipsoid",
        "at.x": "61",
        "size.z": "18",
        "turn_deg": "10",
        "reflectance": "0.2",
        "name": "foot",
    },
    ("site", "slope"): {
        "at.x": "35",
        "at.depth": "23",
        "open_sky": "",
        "on": "rock",
        "faces": "left",
        "name": "hang",
    },
    ("rack", "A"): {"pitch.x": "4", "corner.y": "11", "columns": "4", "on": "wall"},
    ("water", ""): {
        "yellowing_440_per_m": "0.3",
        "yellowing_slope_per_nm": "0.016",
        "refractive_index": "1.33",
    },
    ("cover", ""): {"transmittance": "0.9"},
    ("electricity", ""): {"price_per_kwh": "0.4", "currency": "CHF"},
    ("uncertainty", ""): {"height_cm": "2"},
    ("meter", "handheld"): {"immersion": "1.2", "standard_uncertainty": "0.03", "reads_up_to": "3000"},
    ("setup", ""): {"title": "Another tank (invented)"},
}


@pytest.mark.identity
@pytest.mark.parametrize("thing", SET, ids=lambda thing: f"{thing[0]} {thing[1]}".strip())
def test_fields_change_the_file_and_can_be_taken_back(tmp_path: Path, thing: tuple[str, str]) -> None:
    """Each field takes a value, shows it again, and undo brings the file back byte for byte."""
    desk = Desk(copied(tmp_path, "first-tank"))
    before = desk.path.read_bytes()
    table, name = thing
    for path, text in SET[thing].items():
        desk.do({"do": "set", "table": table, "name": name, "key": path, "text": text})
        name = text if path == "name" else name
        value = {f["path"]: f["value"] for f in shown.form(desk.bench(), table, name)["fields"]}[path]
        wanted = shown.shown(typed(field_of(table, path), text, "cm"))
        assert value == wanted, path
    assert desk.unsaved == [str(desk.path)]
    while desk.done:
        desk.undo()
    assert desk.texts[str(desk.path)] == before
    assert desk.unsaved == []


@pytest.mark.identity
def test_kind_and_channels_of_a_lamp_change_in_their_own_file(tmp_path: Path) -> None:
    """A lamp's kind is a file of its own; stating another flux replaces the one that stood there."""
    desk = Desk(copied(tmp_path, "first-tank"))
    kind = desk.path.parent / "fixtures" / "demo-panel.toml"
    assert desk.setup is not None
    channel = desk.setup.fixtures[0].type.channels[1].name
    for change in (
        {"table": "kind", "of": "left", "key": "aperture.width", "text": "7"},
        {"table": "channel", "of": "left", "name": channel, "key": "radiant_flux_w", "text": "20"},
    ):
        desk.do({"do": "set", **change})
    assert desk.unsaved == [str(kind)]
    flux = desk.setup.fixtures[1].type.channels[1].flux
    assert flux is not None
    assert (flux.kind, flux.value) == ("radiant_flux_w", 20.0)
    assert desk.setup.fixtures[0].type.aperture.width_m == pytest.approx(0.07, rel=1e-12)
