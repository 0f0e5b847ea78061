"""A setup built in code from parts and records, and its parts exchanged."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from lightdose.errors import OutputError, Place, Problem
from lightdose.files import setup_writer as writer
from lightdose.files.writing import write_atomically
from lightdose.model import fixture, setup, solids, spectrum
from lightdose.python import parts
from lightdose.python.reading import read_setup_texts

SEVERAL: Mapping[str, tuple[str, type, type, Callable[..., dict[str, Any]]]] = {
    "racks": ("rack", parts.Rack, parts.Rack, lambda rack: rack.table),
    "sites": ("site", parts.Site, setup.Site, writer.site_table),
    "rocks": ("rock", parts.Rock, solids.Solid, writer.rock_table),
    "braces": ("brace", solids.Brace, solids.Brace, writer.brace_table),
}
"""What there may be several of: key in a file, part, record, and how the record is written."""

PLAIN = ("electricity", "uncertainty")
KNOWN = ("title", "tank", "fixtures", "corals", *SEVERAL, "meters", "water", "cover", *PLAIN)


def has_parts(value: object) -> bool:
    """Whether a value of a setup's field is a part made in code, or holds one."""
    if isinstance(value, Mapping):
        return any(map(has_parts, value.values()))
    if isinstance(value, tuple | list):
        return any(map(has_parts, value))
    return isinstance(value, parts.Part)


def built(
    title: str, tank: Any, fixtures: Any, sites: Any = (), corals: Any = (), **more: Any
) -> setup.Setup:
    """The setup of these parts and records, as the readers of files make it; see ``Setup``."""
    folder = writer.Folder()
    calibration = more.pop("calibration", None)
    given = {"title": title, "tank": tank, "fixtures": fixtures, "sites": sites, "corals": corals} | more
    records = tuple(one for one in sites if isinstance(one, setup.Site))
    tables = _tables(given, folder, records)
    made = read_setup_texts({"setup.toml": writer.setup_text(tables), **folder.texts})
    return made if calibration is None else replace(made, calibration=calibration)


def rebuilt(own: setup.Setup, changes: Mapping[str, Any]) -> setup.Setup:
    """A setup with parts made in code in the place of what it had."""
    folder = writer.Folder()
    tables = writer.setup_tables(own, folder)
    if "sites" in changes:
        tables["rack"] = []  # its places stand among the sites
    tables |= _tables(changes, folder, own.sites)
    made = read_setup_texts({"setup.toml": writer.setup_text(tables), **folder.texts})
    return replace(made, path=own.path, inputs_sha256=own.inputs_sha256, calibration=own.calibration)


def _tables(
    given: Mapping[str, Any], folder: writer.Folder, sites: tuple[setup.Site, ...] = ()
) -> dict[str, Any]:
    """The tables of setup.toml that parts and records tell, under their keys there.

    ``sites`` are those of the setup from which records of corals come.
    """
    if unknown := [name for name in given if name not in KNOWN]:
        raise TypeError(f"a setup has no {unknown[0]!r}; it has {', '.join(KNOWN)}, calibration")
    tables: dict[str, Any] = {}
    for name, value in given.items():
        if name in SEVERAL:
            key, part, record, write = SEVERAL[name]
            told = [one for one in value if not getattr(one, "implicit", False)]  # its coral tells of it
            tables[key] = [_table(name, one, part, record, write) for one in told]
        elif name == "tank":
            tables[name] = _table(name, value, parts.Tank, setup.Tank, writer.tank_table)
        elif name == "fixtures":
            hung = [_of_type(name, one, parts.Fixture, fixture.Fixture) for one in value]
            lamps = [one.record if isinstance(one, parts.Fixture) else one for one in hung]
            tables["fixture"] = [writer.fixture_table(lamp, folder) for lamp in lamps]
        elif name == "meters":
            meters = value.values() if isinstance(value, Mapping) else value
            tables["meter"] = {one.name: _meter(one, folder) for one in meters}
        elif name in ("water", "cover"):
            write_one = writer.water_table if name == "water" else writer.cover_table
            tables[name] = dict(value) if isinstance(value, Mapping) else write_one(value, folder)
        elif name == "electricity" and value is not None:
            tables[name] = dict(value) if isinstance(value, Mapping) else vars(value)
        elif name != "corals":
            tables[name] = value if isinstance(value, str) or value is None else dict(value)
    if "corals" in given:
        made = {site.name: site for site in sites if site.implicit}
        tables["coral"] = [_coral(one, made) for one in given["corals"]]
    return tables


def _coral(coral: Any, made: Mapping[str, setup.Site]) -> dict[str, Any]:
    """A coral; a record that makes a site by sitting there goes on doing so."""
    told = _of_type("corals", coral, parts.Coral, setup.Coral)
    if isinstance(told, setup.Coral):
        return writer.coral_table(told, made.get(told.site) if told.site == told.name else None)
    return dict(told.table)


def _meter(meter: Any, folder: writer.Folder) -> dict[str, Any]:
    if isinstance(meter, spectrum.Meter):
        return writer.meter_table(meter, folder)
    table = dict(_of_type("meters", meter, parts.Meter, spectrum.Meter).table)
    if "response" in table:
        table["response"] = writer.response_value(table["response"]["shape"], meter.name, folder)
    if "calibrated_on" in table:
        table["calibrated_on"] = writer.source_value(table["calibrated_on"], meter.name, folder)
    return table


def _of_type(name: str, value: Any, part: type, record: type) -> Any:
    if not isinstance(value, part | record):
        raise TypeError(f"{name}: {part.__name__} is wanted, not {value!r}")
    return value


def _table(
    name: str, value: Any, part: type, record: type, write: Callable[..., dict[str, Any]]
) -> dict[str, Any]:
    told = _of_type(name, value, part, record)
    table: dict[str, Any] = write(told) if isinstance(told, record) else told.table
    return table


def saved(own: setup.Setup, folder: str | Path) -> Path:
    """Write the files of a setup into a folder that holds none; its setup.toml."""
    home = Path(folder)
    texts = writer.files_of(own)
    there = [name for name in texts if (home / name).exists()]
    if there:
        found = f"there is a file {there[0]} already, and nothing was written"
        raise OutputError(
            Problem(found, "a folder without a setup", "choose another folder", Place(str(home)))
        )
    for name, text in reversed(texts.items()):
        write_atomically(home / name, text)
    return home / "setup.toml"
