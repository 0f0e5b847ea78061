"""What a person does with things on the page, as changes of the texts of files: moves, fields, new ones.

Each change is a small record that came from the page and gives the words under which it can be taken back.
Nothing here writes: ``Bench`` holds texts, the readers judge them.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import Any, Final

from lightdose.desk.bench import IN_TABLES, SEVERAL, SINGLE, Bench, Change, metres_of, same_name, text_of
from lightdose.desk.keys import field_of, typed
from lightdose.desk.table_edits import TableText
from lightdose.errors import OutputError, Problem, literal
from lightdose.files.fixture_file import FLUX_KEYS
from lightdose.files.toml_positions import KeyPath
from lightdose.files.units import parse_length


def put(bench: Bench, change: Change) -> str:
    """Put a coral, a place, a lamp or a rock somewhere else; axes that are not given stay."""
    kind, name = text_of(change, "kind"), text_of(change, "name")
    x, y, depth = (metres_of(change, key) for key in ("x_m", "y_m", "depth_m"))
    if kind == "coral":
        _put_coral(bench, name, x, y, depth)
    elif kind == "fixture":
        height = metres_of(change, "height_m")
        index = _indexed(bench, kind, name)
        _put_lengths(bench, (kind, index, "at"), {"x": x, "y": y, "height": height})
    elif kind in ("rock", "site"):
        _put_standing(bench, kind, name, x, y, depth, metres_of(change, "rise_m"))
    else:
        raise ValueError(kind)
    return f"{name} moved"


def _indexed(bench: Bench, kind: str, name: str) -> int:
    index = bench.index(kind, name)
    if index is None:
        raise OutputError(_elsewhere(bench, kind, name))
    return index


def _elsewhere(bench: Bench, kind: str, name: str) -> Problem:
    setup = bench.setup
    rack = next((s.rack for s in setup.sites if s.name == name and s.rack), None) if setup else None
    if rack is not None:
        return Problem(f"{literal(name)} is a place of the rack {literal(rack)}", cure="move the rack")
    return Problem(f"there is no {kind} {literal(name)} that can be changed here")


def _put_lengths(bench: Bench, path: KeyPath, lengths: Mapping[str, float | None]) -> None:
    text = bench.toml()
    for key, metres in lengths.items():
        if metres is not None:
            text.put((*path, key), bench.length(metres))
    bench.keep(text)


def _depth_key(bench: Bench, path: KeyPath, depth_m: float | None) -> dict[str, float | None]:
    """The depth of a place under the key that it has there: depth, or height above the floor."""
    if depth_m is None or bench.toml().get((*path, "height")) is None:
        return {"depth": depth_m}
    assert bench.setup is not None
    return {"height": bench.setup.tank.water_depth_m - depth_m}


def _put_coral(bench: Bench, name: str, x: float | None, y: float | None, depth: float | None) -> None:
    setup = bench.setup
    if setup is None:
        raise OutputError(Problem("the setup has problems: mend them first"))
    coral = next((c for c in (*setup.corals, *setup.unplaced) if c.name == name), None)
    site = next((s for s in setup.sites if coral and s.name == coral.site), None)
    if site is not None:
        x, y, depth = (
            here if given is None else given
            for given, here in zip((x, y, depth), (site.x_m, site.y_m, site.depth_m), strict=True)
        )
    index = bench.index("coral", name)
    if index is None:
        table, path = bench.table("corals", "coral")
        row = _row(table, name)
        for column, metres in (("x_cm", x), ("y_cm", y), ("depth_cm", depth)):
            if metres is not None:
                table.put_number(row, column, f"{round(100 * metres, 2):g}")
        table.put(row, "site", "")
        bench.changed[path] = table.data
        return
    text, at = bench.toml(), ("coral", index, "at")
    if text.get(at) is None:
        text.put(("coral", index, "site"), None)
        spot = {"x": x, "y": y, "depth": depth}
        text.put(at, {key: bench.length(m) for key, m in spot.items() if m is not None})
        bench.keep(text)
        return
    _put_lengths(bench, at, {"x": x, "y": y, **_depth_key(bench, at, depth)})


def _put_standing(
    bench: Bench,
    kind: str,
    name: str,
    x: float | None,
    y: float | None,
    depth: float | None,
    rise: float | None,
) -> None:
    """A place, or a rock, which rises by ``rise`` because it is named by its top or its centre."""
    index = bench.index(kind, name)
    if index is None:
        if bench.setup and any(s.name == name and s.rack for s in bench.setup.sites):
            raise OutputError(_elsewhere(bench, kind, name))
        named, columns = IN_TABLES[kind]
        table, path = bench.table(named, columns["name"])
        row = _row(table, name)
        cells = {"x_cm": x, "y_cm": y, "depth_cm": depth}
        if kind == "rock":
            cells = {"x_cm": x, "y_cm": y, "z_cm": None}
            if rise is not None:
                z = table.table.length_m(table.table.rows[row], "z_cm")
                cells["z_cm"] = z + rise
        for column, metres in cells.items():
            if metres is not None:
                table.put_number(row, column, f"{round(100 * metres, 2):g}")
        bench.changed[path] = table.data
        return
    at = (kind, index, "at")
    lengths: dict[str, float | None] = {"x": x, "y": y}
    if kind == "rock" and rise is not None:
        key, sign = ("height", 1) if bench.toml().get((*at, "height")) is not None else ("depth", -1)
        lengths[key] = parse_length(bench.toml().get((*at, key))) + sign * rise
    elif kind == "site":
        lengths |= _depth_key(bench, at, depth)
    _put_lengths(bench, at, lengths)


def _row(table: TableText, name: str) -> int:
    row = table.row_of(name)
    if row is None:
        raise OutputError(Problem(f"{literal(name)} stands in no file of this setup"))
    return row


def seat(bench: Bench, change: Change) -> str:
    """Let a coral sit at a named place."""
    name, site = text_of(change, "name"), text_of(change, "site")
    index = bench.index("coral", name)
    if index is None:
        table, path = bench.table("corals", "coral")
        row = _row(table, name)
        for column in ("x_cm", "y_cm", "depth_cm"):
            table.put(row, column, "")
        table.put(row, "site", site)
        bench.changed[path] = table.data
    else:
        text = bench.toml()
        text.put(("coral", index, "at"), None)
        text.put(("coral", index, "site"), site)
        bench.keep(text)
    return f"{name} to {site}"


def set_field(bench: Bench, change: Change) -> str:
    """Let a key hold what a person typed; an empty text takes it out."""
    table, path, text = text_of(change, "table"), text_of(change, "key"), text_of(change, "text")
    name = text_of(change, "name") if "name" in change else ""
    value = typed(field_of(table, path), text, bench.unit)
    keys = tuple(path.split("."))
    if table in ("setup", *SINGLE):
        toml = bench.toml()
        toml.put(keys if table == "setup" else (table, *keys), value)
        bench.keep(toml)
        return f"{path.replace('_', ' ')} of the {table} changed"
    if table in ("kind", "channel"):
        _set_in_kind(bench, text_of(change, "of"), name if table == "channel" else "", keys, value)
        return f"{path.replace('_', ' ')} of {name or change['of']} changed"
    if table == "meter":
        toml = bench.toml()
        toml.put((table, name, *keys), value)
        bench.keep(toml)
        return f"{path} of {name} changed"
    index = bench.index(table, name)
    if index is None:
        _set_cell(bench, table, name, path, value)
    else:
        toml = bench.toml()
        if path in ("group", "genus"):
            other = {"group": "genus", "genus": "group"}[path]
            toml.put((table, index, other), None)
        toml.put((table, index, *keys), value)
        bench.keep(toml)
    if path == "name" and table == "site" and isinstance(value, str):
        _rename_site(bench, name, value)
    return f"{path.replace('_', ' ').replace('at.', '')} of {name} changed"


def kind_of(bench: Bench, fixture: str, channel: str = "") -> tuple[str, KeyPath]:
    """The file that describes a lamp's kind, and where a channel stands in it."""
    index = bench.index("fixture", fixture)
    named = bench.toml().get(("fixture", index, "type")) if index is not None else None
    if not isinstance(named, str):
        raise OutputError(Problem(f"the lamp {literal(fixture)} names no file of its kind"))
    path = bench.beside(named)
    if not channel:
        return path, ()
    channels = bench.toml(path).get(("channel",)) or []
    place = next((n for n, c in enumerate(channels) if same_name(c.get("name"), channel)), None)
    if place is None:
        raise OutputError(Problem(f"{literal(named)} has no channel {literal(channel)}"))
    return path, ("channel", place)


def _set_in_kind(bench: Bench, fixture: str, channel: str, keys: KeyPath, value: Any) -> None:
    """A key of the file of a lamp's kind: all lamps of that kind change with it."""
    path, home = kind_of(bench, fixture, channel)
    toml = bench.toml(path)
    if keys[0] in FLUX_KEYS and value is not None:
        for other in FLUX_KEYS:
            toml.put((*home, other), None)
    toml.put((*home, *keys), value)
    bench.keep(toml, path)


def _set_cell(bench: Bench, kind: str, name: str, path: str, value: Any) -> None:
    if kind not in IN_TABLES:
        raise OutputError(_elsewhere(bench, kind, name))
    named, columns = IN_TABLES[kind]
    table, where = bench.table(named, columns["name"])
    if path not in columns:
        found = f"{path} of {literal(name)} has no column in {literal(table.file)}"
        cure = f"put this {kind} into setup.toml, as a [[{kind}]] of its own"
        raise OutputError(Problem(found, cure=cure))
    column = columns[path]
    if path in ("group", "genus"):
        table.put(_row(table, name), {"group": "genus", "genus": "group"}[path], "")
    if isinstance(value, bool):
        value = "yes" if value else "no"
    row = _row(table, name)
    if isinstance(value, int | float):
        table.put_number(row, column, f"{value:g}")
    else:
        text = "" if value is None else str(value)
        if column.endswith("_cm") and text.endswith(" cm"):
            table.put_number(row, column, text.removesuffix(" cm").replace(",", "."))
        else:
            table.put(row, column, text)
    bench.changed[where] = table.data


def _rename_site(bench: Bench, before: str, after: str) -> None:
    """Corals go with a place that gets another name."""
    toml = bench.toml()
    for n, coral in enumerate(toml.get(("coral",)) or []):
        if same_name(coral.get("site"), before):
            toml.put(("coral", n, "site"), after)
    bench.keep(toml)
    if isinstance(toml.get(("corals",)), str):
        table, path = bench.table("corals", "coral")
        if "site" in table.columns:
            for n, row in enumerate(table.rows()):
                if row["site"] == before:
                    table.put(n, "site", after)
            bench.changed[path] = table.data


def add(bench: Bench, change: Change) -> str:
    """Another coral, place, rack, rock, brace or lamp, from the texts of its fields."""
    kind, given = text_of(change, "table"), change["values"]
    if kind not in SEVERAL or not isinstance(given, Mapping):
        raise ValueError(kind)
    values: dict[str, Any] = {}
    for path in given:
        if kind == "fixture" and path in ("type", "schedule"):
            values[path] = text_of(given, path)
            continue
        value = typed(field_of(kind, path), text_of(given, path), bench.unit)
        if value is None:
            continue
        *inner, last = path.split(".")
        home = values
        for step in inner:
            home = home.setdefault(step, {})
        home[last] = value
    toml = bench.toml()
    toml.add_table(kind, values)
    bench.keep(toml)
    return f"{values.get('name', kind)} added"


def drop(bench: Bench, change: Change) -> str:
    """Take a coral, place, rack, rock, brace or lamp out of the files."""
    kind, name = text_of(change, "table"), text_of(change, "name")
    if kind not in SEVERAL:
        raise ValueError(kind)
    index = bench.index(kind, name)
    if index is not None:
        toml = bench.toml()
        toml.drop_table(kind, index)
        bench.keep(toml)
    elif kind in IN_TABLES:
        named, columns = IN_TABLES[kind]
        table, path = bench.table(named, columns["name"])
        table.drop_row(_row(table, name))
        bench.changed[path] = table.data
    else:
        raise OutputError(_elsewhere(bench, kind, name))
    return f"{name} taken out"


def add_names(bench: Bench, change: Change) -> str:
    """Corals by their names and groups, without a place yet."""
    corals = change["corals"]
    if not isinstance(corals, list) or not 0 < len(corals) <= 2000:
        raise ValueError("corals")
    toml = bench.toml()
    for one in corals:
        toml.add_table("coral", {"name": text_of(one, "name"), "group": text_of(one, "group")})
    bench.keep(toml)
    return f"{len(corals)} corals added" if len(corals) > 1 else f"{corals[0]['name']} added"


def mend_line(bench: Bench, change: Change) -> str:
    """Another text for one line of a file in which a problem stands."""
    named, number, text = text_of(change, "file"), change["line"], text_of(change, "text")
    if "\n" in text or "\r" in text or not isinstance(number, int):
        raise ValueError("line")
    path = bench.beside(named)
    content = bench.content(path)
    known = {str(bench.path), *bench.texts, *(bench.setup.inputs_sha256 if bench.setup else ())}
    if content is None or (path not in known and not _named_in(bench, named)):
        raise OutputError(Problem(f"{literal(named)} is no file of this setup"))
    utf16 = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    lines = content.decode("utf-16" if utf16 else "utf-8").split("\n")
    end = "\r" if lines[number - 1].endswith("\r") else ""
    lines[number - 1] = text + end
    bench.changed[path] = "\n".join(lines).encode("utf-16" if utf16 else "utf-8")
    bench.parsed.pop(path, None)
    return f"line {number} of {os.path.basename(named)} changed"


def _named_in(bench: Bench, named: str) -> bool:
    """Whether the setup's text names a file: one with problems may not be known otherwise."""
    content = bench.content(str(bench.path)) or b""
    return os.path.basename(named).encode() in content


CHANGES: Final[dict[str, Callable[[Bench, Change], str]]] = {
    "put": put,
    "seat": seat,
    "set": set_field,
    "add": add,
    "drop": drop,
    "names": add_names,
    "line": mend_line,
}
