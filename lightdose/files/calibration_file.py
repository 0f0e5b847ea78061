"""calibration.toml: what `calibrate` writes and every command reads, earlier calibrations included."""

from __future__ import annotations

import datetime
import os.path
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

import numpy as np

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.input_files import InputFiles
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import (
    Key,
    Table,
    TomlDocument,
    anything,
    checked,
    flag,
    inner,
    name,
    number,
    one_of,
    plain_number,
    problem_at,
    refuse,
    show,
    whole,
)
from lightdose.files.toml_text import toml_table, toml_tables, toml_value
from lightdose.files.units import DATE
from lightdose.model.calibration import (
    PARAMETER_KINDS,
    BeamWidth,
    Calibration,
    ChannelGain,
    DimmingFoot,
    EarlierCalibration,
    Explanation,
    HeightFit,
    Parameter,
    SeenMix,
    SkyShare,
    TogetherFactor,
    YellowingFit,
)
from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import Setup, with_calibration

CALIBRATION_FORMAT: Final = "lightdose-calibration/1"

_HEAD: Final = (
    "# What meter readings say about the fixtures; written by `lightdose calibrate`, read through\n"
    '# calibration = "..." in setup.toml. A gain is the measured photon flux (300-800 nm, output 100) over\n'
    "# nominal_umol_s. To go back to the fixture files, take that line out of setup.toml.\n"
)


def _date(value: object) -> str:
    """An ISO date; TOML's own dates are taken too."""
    allowed = 'a date such as "2026-03-14"'
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    try:
        return datetime.date.fromisoformat(value).isoformat()  # type: ignore[arg-type]
    except (TypeError, ValueError):
        raise refuse(f"{show(value)} is not a date", allowed) from None


def _numbers(value: object) -> tuple[float, ...]:
    if not isinstance(value, list):
        raise refuse(f"{show(value)} is not a list of numbers", "[1.0, 2.0]")
    return tuple(plain_number(v) for v in value)


def _interval(value: object) -> tuple[float, float]:
    ends = _numbers(value)
    if len(ends) != 2 or not ends[0] <= ends[1]:
        raise refuse("not two numbers that rise", "[low, high]")
    return ends[0], ends[1]


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise refuse(f"{show(value)} is not a sentence", '"..."')
    return value


def _words(value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise refuse(f"{show(value)} is not a list of names", '["handheld"]')
    return tuple(value)


_NUMBERS: Final = {"type": "array", "items": {"type": "number"}}
_TEXTS: Final = {"type": "array", "items": {"type": "string"}}
_INTERVAL = Key(
    checked(_interval, "[low, high]", _NUMBERS | {"minItems": 2, "maxItems": 2}),
    "[0.9, 1.1]",
    "95 % interval",
)
_GAIN_KEYS: Final = {
    "fixture": Key(name(), '"left"', "name of the fixture"),
    "channel": Key(name(), '"blue"', "name of the channel"),
    "gain": Key(number(0, 1e9, above=True), "0.9", "measured over nominal output"),
    "interval_95": _INTERVAL,
    "nominal_umol_s": Key(number(0, 1e9, above=True), "60.0", "photon flux that the gain multiplies"),
    "tied_to": Key(name(), '"white"', "what it leans on where readings cannot tell it apart", None),
    "stated": Key(flag(), "true", "whether the fixture file states an output", True),
}
HUNG_ANEW_M: Final = 0.002
"""A lamp counts as hung anew from so much on: our choice, finer than a tape measure."""

_MOST_COVARIANCE: Final = 100.0
"""Of logarithms: a factor of e to the 10th, far beyond any fit; our choice."""

TABLES: Final[dict[str, Table]] = {
    "gain": Table(_GAIN_KEYS),
    "beam": Table(
        {
            "fixture": Key(name(), '"left"', "name of the fixture"),
            "nominal_fwhm_deg": Key(number(2, 175), "120.0", "width by the fixture file"),
            "fwhm_deg": Key(number(2, 175), "95.0", "measured width"),
            "interval_95": _INTERVAL,
        }
    ),
    "open_sky": Table(
        {
            "site": Key(name(), '"ledge"', "name of the site"),
            "value": Key(number(0, 1), "0.4", "measured open sky"),
            "interval_95": _INTERVAL,
        }
    ),
    "height": Table(
        {
            "fixture": Key(name(), '"left"', "name of the fixture"),
            "height_m": Key(number(0, 20, above=True), "0.2", "height above the water that fits"),
            "interval_95": _INTERVAL,
            "stated_m": Key(number(0, 20, above=True), "0.21", "height that the setup stated then", None),
        }
    ),
    "together": Table(
        {
            "fixture": Key(name(), '"left"', "name of the fixture"),
            "factor": Key(number(0, 2, above=True), "0.93", "all channels together over their sum"),
            "interval_95": _INTERVAL,
        }
    ),
    "foot": Table(
        {
            "fixture": Key(name(), '"left"', "name of the fixture"),
            "output": Key(number(0, 0.9), "0.06", "share of full output up to which it stays dark"),
            "interval_95": _INTERVAL,
        }
    ),
    "parameter": Table(
        {
            "kind": Key(one_of(*PARAMETER_KINDS), '"gain"', "what was fitted"),
            "fixture": Key(name(), '"left"', "of which fixture", ""),
            "channel": Key(name(), '"blue"', "of which channel", ""),
            "site": Key(name(), '"ledge"', "of which site", ""),
            "estimate": Key(number(-100, 100), "-0.1", "natural logarithm, or the value itself"),
            "covariance": Key(checked(_numbers, "[...]", _NUMBERS), "[0.001]", "row of the joint covariance"),
        }
    ),
    "explanation": Table(
        {
            "odds": Key(number(0, 1), "0.8", "of being so; those of all sum to 1"),
            "says": Key(checked(_text, "a sentence", {"type": "string"}), '"A1 is shaded"', "in words"),
            "shift": Key(checked(_numbers, "[...]", _NUMBERS), "[0.1]", "what it adds to each parameter", ()),
        }
    ),
    "seen_mix": Table(
        {
            "share": Key(
                checked(_numbers, "[...]", _NUMBERS), "[0.6, 0.4]", "of the light that a reading saw"
            ),
            "pull": Key(checked(_numbers, "[...]", _NUMBERS), "[0.9, 0.9]", "how each parameter follows it"),
        }
    ),
    "earlier": Table(
        {
            "date": Key(checked(_date, "a date", DATE), '"2026-03-14"', "of those readings"),
            "readings": Key(whole(0, 100_000), "24", "how many were used"),
            "meters": Key(checked(_words, "names", _TEXTS), '["handheld"]', "that were used"),
            "gain": Key(anything("tables"), "...", "gains of that day", ()),
        }
    ),
}
YELLOWING: Final = Table(
    {"per_m": Key(number(0, 50), "0.3", "yellowing at 440 nm, per m"), "interval_95": _INTERVAL}
)
TOP: Final = Table(
    {
        "format": Key(one_of(CALIBRATION_FORMAT), f'"{CALIBRATION_FORMAT}"', "what kind of file this is"),
        "date": Key(checked(_date, 'a date such as "2026-03-14"', DATE), '"2026-03-14"', "of the readings"),
        "readings": Key(whole(0, 100_000), "24", "how many were used"),
        "meters": Key(checked(_words, "names", _TEXTS), '["handheld"]', "that were used"),
        "cautions": Key(checked(_words, "sentences", _TEXTS), "[]", "what holds as long as this file", ()),
        "lux_factor": Key(
            number(1, 1000), "1.6", "factor either way that a lux meter of unknown response leaves open", None
        ),
        "yellowing": Key(inner(YELLOWING), "...", "of the water", None),
        **{key: Key(anything(f"tables [[{key}]]"), "...", "results", ()) for key in TABLES},
    }
)


def read_calibration(path: Path, files: InputFiles, place: Place | None = None) -> Calibration | None:
    """The calibration in a file; None, with problems in ``files``, if it cannot be used."""
    document = files.document(path, CALIBRATION_FORMAT, place)
    if document is None:
        return None
    already = len(files.problems)
    top = TOP.read(document, (), files.problems)
    rows = {key: _rows(document, (key,), TABLES[key], files) for key in TABLES}
    if len(files.problems) > already:
        return None
    width = [r["covariance"] for r in rows["parameter"]]
    if any(len(row) != len(width) for row in width):
        found = f"a row of the covariance does not have {len(width)} numbers, one a parameter"
        files.problems.append(problem_at(document, ("parameter",), found, cure="run calibrate again"))
        return None
    if any(len(r["shift"]) not in (0, len(width)) for r in rows["explanation"]):
        found = f"an explanation does not shift {len(width)} numbers, one a parameter"
        files.problems.append(problem_at(document, ("explanation",), found, cure="run calibrate again"))
        return None
    if any(not len(r["share"]) == len(r["pull"]) == len(width) for r in rows["seen_mix"]):
        found = f"a seen mix does not hold {len(width)} numbers, one a parameter"
        files.problems.append(problem_at(document, ("seen_mix",), found, cure="run calibrate again"))
        return None
    if any(abs(value) > _MOST_COVARIANCE for row in width for value in row):
        found, allowed = "the covariance holds a number that no fit gives", f"up to {_MOST_COVARIANCE:g}"
        files.problems.append(problem_at(document, ("parameter",), found, allowed, "run calibrate again"))
        return None
    with files.collecting(Place(document.file)):
        return Calibration(
            date=top["date"],
            meters=top["meters"],
            readings=top["readings"],
            gains=tuple(ChannelGain(**r) for r in rows["gain"]),
            parameters=tuple(
                Parameter(r["kind"], r["fixture"], r["channel"], r["site"], r["estimate"])
                for r in rows["parameter"]
            ),
            covariance=np.array(width, dtype=np.float64).reshape(len(width), len(width)),
            beams=tuple(BeamWidth(**r) for r in rows["beam"]),
            open_sky=tuple(SkyShare(**r) for r in rows["open_sky"]),
            heights=tuple(HeightFit(**r) for r in rows["height"]),
            together=tuple(TogetherFactor(**r) for r in rows["together"]),
            yellowing=YellowingFit(**top["yellowing"]) if top["yellowing"] else None,
            cautions=tuple(top["cautions"]),
            explanations=tuple(Explanation(**r) for r in rows["explanation"]),
            seen_mixes=tuple(SeenMix(**r) for r in rows["seen_mix"]),
            lux_factor=top["lux_factor"],
            feet=tuple(DimmingFoot(**r) for r in rows["foot"]),
            earlier=tuple(
                EarlierCalibration(
                    date=r["date"],
                    meters=r["meters"],
                    readings=r["readings"],
                    gains=tuple(
                        ChannelGain(**g)
                        for g in _rows(document, ("earlier", n, "gain"), TABLES["gain"], files)
                    ),
                )
                for n, r in enumerate(rows["earlier"])
            ),
            file=document.file,
        )
    return None


def _rows(document: TomlDocument, path: KeyPath, table: Table, files: InputFiles) -> list[dict[str, Any]]:
    """Every table of an array of tables; what cannot be read is named in ``files`` and left out."""
    given: Any = document.data
    for step in path:
        given = given[step] if isinstance(step, int) else given.get(step, [])
    if not isinstance(given, list) or not all(isinstance(t, dict) for t in given):
        found = f"{show(given)} is not a list of tables"
        files.problems.append(problem_at(document, path, found, f"[[{path[-1]}]]"))
        return []
    read = [table.read(document, (*path, n), files.problems) for n in range(len(given))]
    return [r for r in read if len(r) == len(table.keys)]


def earlier_calibrations(setup: Setup, target: Path | None) -> tuple[EarlierCalibration, ...]:
    """What earlier calibrations to keep: of the file that will be replaced, else of the one the setup names.

    Raises
    ------
    SetupError
        If that file cannot be read: it is not overwritten then.
    """
    files = InputFiles()
    path = target if target is not None and os.path.isfile(target) else _named_file(setup, files)
    if path is None:
        return ()
    before = read_calibration(path, files)
    files.finish()
    if before is None:
        return ()
    return EarlierCalibration(before.date, before.meters, before.readings, before.gains), *before.earlier


def _named_file(setup: Setup, files: InputFiles) -> Path | None:
    document = files.document(Path(setup.path), "lightdose-setup/1")
    named = None if document is None else document.data.get("calibration")
    if not isinstance(named, str):
        return None
    path = Path(setup.path).parent / named
    return path if os.path.isfile(path) else None


def use_calibration(
    setup: Setup, calibration: Calibration, *, swapped: bool, hung_anew: bool
) -> tuple[Setup, list[str]]:
    """The setup as measured, and sentences on what was left out because of the variations asked for.

    Raises
    ------
    SetupError
        If the calibration speaks of fixtures, channels or lobes that the setup does not have.
    """
    said = []
    if swapped:
        calibration = calibration.keeping("open_sky", "yellowing")
        said.append(f"{calibration.file}: gains and beams left out, they belong to the fixtures swapped away")
    elif hung_anew and (calibration.heights or any(p.kind == "height" for p in calibration.parameters)):
        calibration = calibration.keeping(*(k for k in PARAMETER_KINDS if k != "height"))
        said.append(f"{calibration.file}: its heights left out, another one was asked for")
    elif _hung_anew(setup, calibration):
        calibration = calibration.keeping(*(k for k in PARAMETER_KINDS if k != "height"))
        said.append(f"{calibration.file}: its heights left out, the setup now states others")
    problems = [
        Problem(found, cure="run calibrate again, or take these tables out", place=Place(calibration.file))
        for found in dict.fromkeys(_strangers(setup, calibration))
    ]
    if problems:
        raise SetupError(*problems)
    count = calibration.readings
    meters = f" with {', '.join(calibration.meters)}" if calibration.meters else ""
    said.append(
        f"{calibration.file}: {count} reading{'s' if count != 1 else ''} of {calibration.date}{meters}"
    )
    return with_calibration(setup, calibration), said


def _hung_anew(setup: Setup, calibration: Calibration) -> bool:
    """Whether the setup states another height of a lamp than when it was read."""
    hung = {f.name: f.height_m for f in setup.fixtures}
    then = {p.fixture: p.estimate for p in calibration.parameters if p.kind == "height"}
    then |= {h.fixture: h.stated_m or hung.get(h.fixture, 0.0) for h in calibration.heights}
    return any(abs(hung.get(name, height) - height) > HUNG_ANEW_M for name, height in then.items())


def _strangers(setup: Setup, calibration: Calibration) -> Iterable[str]:
    fixtures = {f.name: f for f in setup.fixtures}
    found: list[ChannelGain | BeamWidth | HeightFit | TogetherFactor]
    found = [*calibration.gains, *calibration.beams, *calibration.heights, *calibration.together]
    for named in found:
        fixture = fixtures.get(named.fixture)
        if fixture is None:
            yield f"the fixture {show(named.fixture)} was calibrated and is not in the setup"
        elif isinstance(named, ChannelGain):
            if named.channel not in {c.name for c in fixture.type.channels}:
                yield f"fixture {show(named.fixture)} has no channel {show(named.channel)} any more"
        elif isinstance(named, BeamWidth):
            lobes = [c.beam for c in fixture.type.channels]
            if not any(isinstance(b, CosineLobe) and b.fwhm_deg == named.nominal_fwhm_deg for b in lobes):
                yield (
                    f"fixture {show(named.fixture)} had a beam of {named.nominal_fwhm_deg:g} deg when it was "
                    "calibrated and has none now"
                )


# ---- writing ---------------------------------------------------------------------------------------------


def calibration_toml(calibration: Calibration) -> str:
    """The text of calibration.toml; reading it gives the same calibration to the last bit."""
    lines = [
        _HEAD,
        f"format = {toml_value(CALIBRATION_FORMAT)}",
        f"date = {toml_value(calibration.date)}",
        f"readings = {calibration.readings}",
        f"meters = {toml_value(calibration.meters)}",
    ]
    if calibration.cautions:
        lines.append(f"cautions = {toml_value(calibration.cautions)}")
    if calibration.lux_factor is not None:
        lines.append(f"lux_factor = {toml_value(calibration.lux_factor)}")
    if calibration.yellowing is not None:
        lines += toml_table("[yellowing]", vars(calibration.yellowing))
    for key, records in (
        ("gain", calibration.gains),
        ("beam", calibration.beams),
        ("open_sky", calibration.open_sky),
        ("height", calibration.heights),
        ("together", calibration.together),
        ("foot", calibration.feet),
    ):
        lines += toml_tables(key, [vars(record) for record in records])
    for parameter, row in zip(calibration.parameters, calibration.covariance, strict=True):
        named = {k: v for k, v in vars(parameter).items() if v != ""}
        lines += toml_table("[[parameter]]", named | {"covariance": tuple(row.tolist())})
    lines += toml_tables("explanation", [vars(one) for one in calibration.explanations])
    lines += toml_tables("seen_mix", [vars(one) for one in calibration.seen_mixes])
    for earlier in calibration.earlier:
        about = {"date": earlier.date, "readings": earlier.readings, "meters": earlier.meters}
        lines += toml_table("[[earlier]]", about)
        lines += toml_tables("earlier.gain", [vars(gain) for gain in earlier.gains])
    return "\n".join(lines) + "\n"
