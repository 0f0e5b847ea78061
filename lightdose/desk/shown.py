"""What the page shows, as JSON: words of the answers, places to scale, fields to fill in."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, Final

from lightdose.analysis import Analysis
from lightdose.answers.advice import rows_of
from lightdose.answers.check import in_short
from lightdose.answers.dose import answer_points, headline
from lightdose.answers.verdicts import SEVERITY, bar_of, octaves_off, table_words
from lightdose.answers.words import number, range_text
from lightdose.desk.bench import IN_TABLES, SINGLE, Bench
from lightdose.desk.edits import kind_of
from lightdose.desk.keys import FILE_ONLY, fields_of, keys_of, shown
from lightdose.desk.programme_edits import programme_rows
from lightdose.desk.session import Desk
from lightdose.desk.table_edits import TableText
from lightdose.errors import LightdoseError, Problem, literal
from lightdose.files.groups_file import default_groups
from lightdose.model.advice import Action
from lightdose.model.places import Plane
from lightdose.model.results import Verdict
from lightdose.model.setup import Coral, Setup
from lightdose.present.figures.tank_view import Scene
from lightdose.present.page import page_environment, range_bar, set_text

PLACE_FILES: Final = ("corals", "sites", "rocks")
ACTIONS: Final = 2
LONGEST_SHOWN: Final = 60_000
"""Bytes of a file that are shown."""


def scene_keys(desk: Desk, setup: Setup) -> tuple[object, object]:
    """What the light field depends on besides places, and what draws of it depend on besides that."""
    raw = raw_setup(desk)
    home = str(desk.path.parent)
    fixtures = [f for f in raw.get("fixture", []) if isinstance(f, dict)]
    places = {raw.get(key) for key in PLACE_FILES}
    schedules = {f.get("schedule") for f in fixtures if isinstance(f.get("schedule"), str)}
    own = {str(desk.path)} | {os.path.abspath(os.path.join(home, n)) for n in places | schedules if n}
    others = frozenset((p, sha) for p, sha in setup.inputs_sha256.items() if p not in own)
    hung = [(f.name, f.x_m, f.y_m, f.height_m, f.rotation_deg, f.output_scale) for f in setup.lit_fixtures]
    types = [f.get("type") for f in fixtures]
    field = (setup.tank, setup.standing, repr(raw.get("water")), repr(raw.get("cover")), hung, types, others)
    days = [(p, sha) for p, sha in setup.inputs_sha256.items() if os.path.relpath(p, home) in schedules]
    inline = [repr(f.get("schedule")) for f in fixtures]
    return field, (days, inline, dict(setup.uncertainty))


def raw_setup(desk: Desk) -> dict[str, Any]:
    """The values of setup.toml as they are written; empty where it is no TOML."""
    content = desk.bench().content(str(desk.path)) or b""
    utf16 = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        text = content.decode("utf-16" if utf16 else "utf-8-sig")
        return tomllib.loads(text.replace("\r\n", "\n"))
    except ValueError:
        return {}


def view(desk: Desk, analysis: Analysis | None, trouble: LightdoseError | None = None) -> dict[str, Any]:
    """Everything that stands on the page, for one state of the desk."""
    setup = desk.setup
    problems = [*desk.reading.problems, *(desk.drafts.problems_at_home(trouble) if trouble else ())]
    made: dict[str, Any] = {
        "version": desk.version,
        "first": desk.first,
        "file": desk.path.name,
        "folder": str(desk.path.parent),
        "title": setup.title if setup else "",
        "unit": setup.length_unit if setup else "cm",
        "problems": [problem_json(p) for p in problems[:60]],
        "left_out": list(desk.reading.left_out),
        "undo": desk.done[-1].words if desk.done else None,
        "redo": desk.undone[-1].words if desk.undone else None,
        "unsaved": [os.path.relpath(p, desk.path.parent) for p in desk.unsaved],
        "notice": desk.notice,
        "offered": desk.offered and {"kept_at": desk.offered["kept_at"], "steps": desk.offered["steps"]},
    }
    if setup is None:
        return made
    return made | {
        "tank": tank_json(setup),
        "fixtures": [_fixture(f) for f in setup.fixtures],
        "rocks": _solids(setup),
        "sites": _sites(setup),
        "unplaced": [_without_place(setup, c) for c in setup.unplaced],
        "groups": [{"key": g.key, "name": g.name, "look": g.look} for g in setup.groups.values()],
        "meters": [{"name": name, "reads": m.reads} for name, m in setup.meters.items()],
        "calibrated": setup.calibration is not None,
        "named": _named(desk),
        **(told(analysis) if analysis is not None else {"sentence": None, "corals": []}),
    }


def groups_to_choose() -> dict[str, Any]:
    """The groups that a new tank may name."""
    groups = default_groups()[0]
    return {"groups_to_choose": [{"key": g.key, "name": g.name, "look": g.look} for g in groups.values()]}


def _named(desk: Desk) -> dict[str, Any]:
    """What the page names and no drawing shows: racks, braces, the files of lamps."""
    raw = raw_setup(desk)

    def tables(key: str) -> list[dict[str, Any]]:
        found = raw.get(key)
        return [one for one in found if isinstance(one, dict)] if isinstance(found, list) else []

    files = [{key: f.get(key) for key in ("type", "schedule")} for f in tables("fixture")]
    return {
        "rack": [str(one.get("name")) for one in tables("rack")],
        "brace": [str(one.get("name")) for one in tables("brace")],
        "fixture": [f for f in files if all(isinstance(v, str) for v in f.values())],
    }


def problem_json(problem: Problem) -> dict[str, Any]:
    """A problem with its place, and the line as it stands, which can be mended where it is."""
    place = problem.place
    return {
        "found": literal(problem.found),
        "allowed": literal(problem.allowed),
        "cure": literal(problem.cure),
        "short": in_short(problem),
        "file": place.file if place else "",
        "line": place.line if place else 0,
        "text": place.text if place else "",
    }


# ---- the sentence and the corals --------------------------------------------------------------------------


def told(analysis: Analysis) -> dict[str, Any]:
    """The sentence, in the words of `dose`, and every coral, those of concern first."""
    setup = analysis.setup
    unit = setup.length_unit
    points = answer_points(analysis, unit).points
    rows = rows_of(analysis, unit)[:ACTIONS]
    return {
        "sentence": {
            "basis": set_text(analysis.basis.sentence),
            "headline": set_text(headline(analysis)),
            "points": [{"about": p.about, "text": set_text(p.text)} for p in points],
            "sure": analysis.uncertainty is not None,
            "cautions": [{"about": c.source, "text": set_text(c.text)} for c in analysis.cautions],
            "offers": [{"doing": row.doing, "changes": changes_of(row.action)} for row in rows],
        },
        "corals": _corals(analysis),
    }


def changes_of(action: Action) -> list[dict[str, Any]]:
    """An action as changes of the desk; none for a reading, or where everything stays."""
    if action.dials:
        return [
            {"do": "overall", "fixtures": [d.fixture], "percent": d.after}
            for d in action.dials
            if d.after <= 100
        ]
    if action.heights_m:
        return [
            {"do": "put", "kind": "fixture", "name": name, "height_m": after}
            for name, (_, after) in action.heights_m.items()
        ]
    if action.moves:
        return [{"do": "seat", "name": coral, "site": there} for coral, (_, there) in action.moves.items()]
    if action.kind == "hours":
        return [{"do": "hours", "longer_h": action.longer_h}]
    return []


def _corals(analysis: Analysis) -> list[dict[str, Any]]:
    setup = analysis.setup
    sites, corals = {s.name: s for s in setup.sites}, {c.name: c for c in setup.corals}
    ordered = sorted(analysis.verdicts, key=lambda v: (SEVERITY[v.dli_verdict], -octaves_off(v)))
    bar = page_environment().get_template("blocks.html").module.bar  # type: ignore[attr-defined]
    made = []
    for verdict in ordered:
        coral, site = corals[verdict.coral], sites[verdict.site]
        drawn = bar_of(verdict)
        face = coral.face or site.face
        made.append(
            {
                "name": coral.name,
                "group": coral.group,
                "genus": coral.genus or "",
                "group_name": verdict.group_name,
                "state": verdict.dli_verdict,
                "words": set_text(table_words(verdict)),
                "mark": mark_of(verdict),
                "dli": number(verdict.dli_mol_m2_d),
                "usual": range_text(*verdict.band_dli) if verdict.band_dli else "",
                "peak": number(verdict.peak_ppfd_umol_m2_s),
                "by_light": verdict.by_light,
                "advice": set_text(verdict.advice),
                "bar": str(bar(range_bar(drawn))) if drawn else "",
                "site": "" if site.implicit else site.name,
                "x_m": site.x_m,
                "y_m": site.y_m,
                "depth_m": site.depth_m,
                "height_m": coral.height_m,
                "pinned": coral.pinned,
                "normal": list(face.normal) if face else None,
            }
        )
    return made


def mark_of(verdict: Verdict) -> str:
    """The shape of a coral's mark: as in the report, and one for those that nobody can tell of."""
    if verdict.dli_verdict == "undecided":
        return "open"
    if verdict.dli_verdict == "not_judged":
        return "cross"
    if verdict.dli_verdict == "within":
        return "disc"
    return "full-diamond" if verdict.dli_verdict.startswith("far") else "diamond"


def _without_place(setup: Setup, coral: Coral) -> dict[str, str]:
    return {"name": coral.name, "group": coral.group, "group_name": setup.groups[coral.group].name}


# ---- the tank to scale ------------------------------------------------------------------------------------


def tank_json(setup: Setup) -> dict[str, Any]:
    """Measures of the tank, and what both views show of it. [m]"""
    tank = setup.tank
    plan = Scene.whole(setup, Plane("depth", 0.5 * tank.water_depth_m), setup.length_unit)
    front = Scene.whole(setup, Plane("from_front", 0.5 * tank.width_m), setup.length_unit)
    return {
        "length_m": tank.length_m,
        "width_m": tank.width_m,
        "depth_m": tank.water_depth_m,
        "rim_m": tank.rim_m,
        "glass_m": max(tank.glass_thickness_m, 0.004),
        "walls": {side: wall.kind for side, wall in tank.walls.items()},
        "across_m": list(plan.columns_m),
        "plan_m": list(plan.rows_m),
        "front_m": list(front.rows_m),
    }


def _fixture(fixture: Any) -> dict[str, Any]:
    return {
        "name": fixture.name,
        "x_m": fixture.x_m,
        "y_m": fixture.y_m,
        "height_m": fixture.height_m,
        "outline_m": [list(corner) for corner in fixture.outline_m],
        "channels": [channel.name for channel in fixture.type.channels],
        "enabled": fixture.enabled,
    }


def _solids(setup: Setup) -> list[dict[str, Any]]:
    """Outlines of rock and colonies in both views. [m]"""
    standing = setup.standing
    if standing is None:
        return []
    return [
        {
            "name": solid.name,
            "coral": solid.coral,
            "x_m": solid.x_m,
            "y_m": solid.y_m,
            "depth_m": solid.depth_m,
            "plan": [[round(v, 4) for v in corner] for corner in solid.outline_m(0, 1)],
            "front": [[round(v, 4) for v in corner] for corner in solid.outline_m(0, 2)],
        }
        for solid in standing.solids
    ]


def _sites(setup: Setup) -> list[dict[str, Any]]:
    stocked = {c.site for c in setup.corals}
    return [
        {
            "name": s.name,
            "x_m": s.x_m,
            "y_m": s.y_m,
            "depth_m": s.depth_m,
            "rack": s.rack,
            "free": s.name not in stocked,
        }
        for s in setup.sites
        if not s.implicit
    ]


# ---- fields -----------------------------------------------------------------------------------------------


def form(bench: Bench, table: str, name: str, of: str = "") -> dict[str, Any]:
    """The fields of a thing with what stands in them, in which file, and what only the file can change.

    ``of`` is the lamp whose kind, or whose channel, is meant.
    """
    written, where = _written(bench, table, name, of)
    fields = [{**one.as_json(), "value": shown(_at(written, one.path))} for one in fields_of(table)]
    if where.endswith(".csv"):
        columns = IN_TABLES[table][1]
        fields = [f for f in fields if f["path"] in columns]
    only = [
        {"path": path.partition(".")[2], "why": why, "value": shown(_at(written, path.partition(".")[2]))}
        for path, why in FILE_ONLY.items()
        if path.startswith(f"{table}.")
    ]
    known = {f["path"] for f in fields} | {one["path"] for one in only}
    keys = {**keys_of(table).keys, "channel": None}
    extra = [
        k for k in written if k not in keys and k not in known and not isinstance(written[k], dict | list)
    ]
    only += [{"path": k, "why": "not known to lightdose", "value": shown(written[k])} for k in extra]
    return {"table": table, "name": name, "file": where, "of": of, "fields": fields, "only": only}


def _written(bench: Bench, table: str, name: str, of: str) -> tuple[Mapping[str, Any], str]:
    toml = bench.toml()
    file = bench.path.name
    if table in ("kind", "channel"):
        path, place = kind_of(bench, of, name if table == "channel" else "")
        values = bench.toml(path).get(place) if place else bench.toml(path).values
        return values or {}, os.path.relpath(path, bench.path.parent)
    if table == "setup":
        values = toml.values
        return {k: v for k, v in values.items() if not isinstance(v, dict | list)}, file
    if table == "meter":
        return toml.get((table, name)) or {}, file
    index = bench.index(table, name)
    if index is not None:
        return toml.get((table, index)) or {}, file
    if table in SINGLE or table not in IN_TABLES:
        return toml.get((table,)) or {}, file
    named, columns = IN_TABLES[table]
    if not isinstance(toml.get((named,)), str):
        return {}, file
    text, path = bench.table(named, columns["name"])
    row = next((r for r in text.rows() if r[columns["name"]] == name), {})
    found: dict[str, Any] = {}
    for key, column in columns.items():
        home, *inner = key.split(".")
        cell = row.get(column, "")
        cell = f"{cell} cm" if cell and column.endswith("_cm") and cell[-1:].isdigit() else cell
        if inner:
            found.setdefault(home, {})[inner[0]] = cell
        else:
            found[home] = cell
    return found, os.path.basename(path)


def _at(values: Mapping[str, Any], path: str) -> Any:
    found: Any = values
    for step in path.split("."):
        if not isinstance(found, Mapping):
            return None
        found = found.get(step)
    return found


def files_shown(desk: Desk) -> list[dict[str, Any]]:
    """Every file that the setup reads, with its text: what no field holds is seen here."""
    made, home = [], str(desk.path.parent)
    read = desk.setup.inputs_sha256 if desk.setup else {str(desk.path): ""}
    bench = desk.bench()
    for path in dict.fromkeys((str(desk.path), *read)):
        content = bench.content(path)
        if content is None:
            continue
        named = os.path.relpath(path, home)
        utf16 = content.startswith((b"\xff\xfe", b"\xfe\xff"))
        text = content[:LONGEST_SHOWN].decode("utf-16" if utf16 else "utf-8-sig", "replace")
        made.append({"file": named, "text": text, "whole": len(content) <= LONGEST_SHOWN})
    return made


def programmes(bench: Bench) -> list[dict[str, Any]]:
    """The programme of every fixture as rows that can be typed in; those of one file once."""
    setup = bench.setup
    if setup is None:
        return []
    made: list[dict[str, Any]] = []
    by_file: dict[str, dict[str, Any]] = {}
    written = bench.toml().get(("fixture",)) or []
    for index, fixture in enumerate(setup.fixtures):
        given = written[index].get("schedule") if index < len(written) else None
        if isinstance(given, str) and given in by_file:
            by_file[given]["fixtures"].append(fixture.name)
            continue
        text = None
        if isinstance(given, str):
            content = bench.content(os.path.abspath(os.path.join(bench.path.parent, given)))
            text = None if content is None else TableText(content, given, "time")
        one = programme_rows(fixture, text, given)
        one |= {"file": given if isinstance(given, str) else bench.path.name, "fixtures": [fixture.name]}
        made.append(one)
        if isinstance(given, str):
            by_file[given] = one
    return made


def day_curves(analysis: Analysis) -> list[dict[str, Any]]:
    """PPFD through the day at the brightest, the middle and the dimmest coral, for the drawing of the day."""
    from lightdose.analysis import site_days

    order: Sequence[Verdict] = sorted(analysis.verdicts, key=lambda v: v.dli_mol_m2_d)
    if not order:
        return []
    some = {order[n].coral: order[n] for n in (len(order) - 1, len(order) // 2, 0)}
    days = site_days(analysis, [v.receiver for v in some.values()])
    return [
        {
            "name": name,
            "dli": number(verdict.dli_mol_m2_d),
            "points": [
                [round(float(t), 4), round(float(v), 2)] for t, v in zip(day.time_h, day.total, strict=True)
            ],
        }
        for (name, verdict), day in zip(some.items(), days, strict=True)
    ]
