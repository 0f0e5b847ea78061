"""`check` and `selftest`: is a setup whole, is this installation, and many setups in one view."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer, OverviewRow
from lightdose.answers.blocks import Block, Column, Point, Points, Say, Section, Table
from lightdose.answers.field import NONE, Field, Sheet, as_json, table
from lightdose.answers.words import DLI_UNIT, count, number, percent_text
from lightdose.errors import Problem, literal
from lightdose.model.record import dataclass
from lightdose.model.results import SelfCheck, SelfTest
from lightdose.model.setup import Setup


def _absolute(problem: Problem) -> str | None:
    return str(Path(problem.place.file).absolute()) if problem.place else None


# fmt: off
PROBLEM: Final = (
    Field("file", "file", _absolute, kind="string", what="null where it is not known"),
    Field("line", "line", lambda p: p.place.line or None if p.place else None, what="from 1"),
    Field("column", "column", lambda p: p.place.column or None if p.place else None, what="from 1"),
    Field("found", "found", lambda p: p.found, kind="string"),
    Field("allowed", "allowed", lambda p: p.allowed, kind="string"),
    Field("cure", "cure", lambda p: p.cure, kind="string"),
)
# fmt: on


# fmt: off
LEVEL: Final = (
    Field("fixture", "fixture", lambda r: r.fixture, kind="string", fold=True, at={"levels": 0}),
    Field("channel", "channel", lambda r: r.channel, kind="string", fold=True, at={"levels": 1}),
    Field("set_percent", "set", lambda r: r.set_percent, unit="%", show=percent_text, at={"levels": 2},
          what="level where the channel runs highest in the day, as it is set"),
    Field("all_channels_percent", "overall", lambda r: r.all_channels_percent, unit="%", show=percent_text,
          at={"levels": 3}, what="overall setting there; null where the schedule has none"),
    Field("runs_at_percent", "runs at", lambda r: r.runs_at_percent, unit="%", show=percent_text,
          at={"levels": 4}, what="product of the two, before dimming"),
)
# fmt: on

MANY_PHOTONS: Final = 25.0
"""A daily dose that makes one ask whether an overall setting is left out: our choice. [mol m-2 d-1]"""


@dataclass(frozen=True)
class LevelRow:
    """What a channel is set to and runs at, at its highest of the day."""

    fixture: str
    channel: str
    set_percent: float
    all_channels_percent: float | None
    runs_at_percent: float


def level_rows(setup: Setup) -> list[LevelRow]:
    """Every channel of the enabled fixtures that has a programme."""
    rows = []
    for fixture in setup.lit_fixtures:
        dial = fixture.programme.dial
        for name, channel in fixture.programme.channels.items():
            runs = float(channel.level.max())
            level, overall = (runs, None) if dial is None else dial.highest(name)
            factor = None if overall is None else _percent(overall)
            rows.append(LevelRow(fixture.name, name, _percent(level), factor, _percent(runs)))
    return rows


def _percent(share: float) -> float:
    return round(100 * share, 12)  # 55, not 55.000000000000014


def overall_question(setup: Setup, brightest: tuple[str, float] | None) -> str | None:
    """Whether an overall setting was forgotten, where the brightest site gets very much light."""
    without = [f.name for f in setup.lit_fixtures if f.programme.dial is None]
    if brightest is None or not without or brightest[1] <= MANY_PHOTONS:
        return None
    site, dose = brightest
    return (
        f"Is an overall setting left out? {literal(site)} would get {number(dose)} {DLI_UNIT}, more than "
        f"{MANY_PHOTONS:g} (our choice), and no schedule of {', '.join(map(literal, without))} has one. If "
        "the fixture is turned down as a whole, to 46 % say, add a column all_channels with 46 in each row "
        "to its schedule; --all-channels 46 tries it."
    )


def problems_json(problems: Sequence[Problem]) -> list[dict[str, Any]]:
    """Each problem with its place, every file absolute; null where something is not known."""
    return [as_json(PROBLEM, problem) for problem in problems]


def check_answer(
    setup: Setup | None,
    problems: tuple[Problem, ...],
    understood: Sequence[str],
    brightest: tuple[str, float] | None = None,
) -> Answer:
    """What was understood, levels as they are set, and that nothing is wrong where nothing is.

    The frame tells problems. ``brightest`` is the site that gets most light, and its dose. [mol m-2 d-1]
    """
    n = sum(p.stands_for for p in problems)
    title = setup.title if setup else NONE
    cells = (("problems", str(n)), ("first", in_short(problems[0]) if problems else NONE), ("title", title))
    rows = level_rows(setup) if setup else []
    question = overall_question(setup, brightest) if setup else None
    levels: list[Block] = []
    if rows:
        shown = table(
            "levels", "", LEVEL, rows, least=2, lines_at_most=ROWS_SHOWN, left_out="further channel"
        )
        levels = [Section("Highest levels of the day, as they are set", (shown,))]
    return Answer(
        "check",
        (
            *map(Say, understood),
            *levels,
            *([Say(question, "strong")] if question else []),
            *([] if n else [Say("no problems", "verdict")]),
        ),
        lambda: {
            "problems": problems_json(problems),
            "understood": list(understood),
            "levels": [as_json(LEVEL, row) for row in rows],
            "question": question,
        },
        title=setup.title if setup else None,
        setups=(setup,) if setup else (),
        overview=OverviewRow(
            cells, "with problems" if n else "without problems", (1.0, -float(n)) if n else (2.0,)
        ),
        problems=problems,
    )


def in_short(problem: Problem) -> str:
    """A problem in a few words, with its line."""
    line = f"line {problem.place.line}: " if problem.place and problem.place.line else ""
    return f"{line}{problem.found}"


TOGETHER: Final = (
    ("packed", "files are as they were packed"),
    ("contents", "data files, pages and catalogues can be read"),
    ("table", "spectra and other tables match the sums they were shipped with"),
    ("editor schema", "schemas for editors are those of the readers"),
    ("library", "libraries are there in the versions asked for"),
)
"""Checks that are told together: how their names begin, and what they show."""

# fmt: off
FIELDS: Final = (
    Field("what", "what", lambda check: check.what, kind="string"),
    Field("expected", "expected", lambda check: check.expected, kind="string"),
    Field("got", "got", lambda check: check.got, kind="string"),
    Field("unit", "unit", lambda check: check.unit or None, kind="string"),
    Field("relative_tolerance", "tolerance", lambda check: check.tolerance),
    Field("kind", "kind", lambda check: check.kind, kind="string"),
    Field("source", "source", lambda check: check.source, kind="string"),
    Field("passed", "passed", lambda check: check.passed, kind="boolean"),
)
# fmt: on


def selftest_answer(tested: SelfTest) -> Answer:
    """Files and libraries together, each number by itself, every failure in full, the verdict last."""
    installed = [check for check in tested.checks if check.kind == "installed"]
    points = []
    for word, what in TOGETHER:
        checks = [check for check in installed if check.what.startswith(f"{word} ")]
        if not checks:
            continue  # a checkout has no list of packed files
        good = sum(check.passed for check in checks)
        points.append(Point(f"{good} of {len(checks)} {what}", _word(good == len(checks))))
    points += [_point(c) for c in tested.checks if c.kind != "installed" or not c.passed]
    versions = ", ".join(f"{name} {number}" for name, number in tested.versions.items())
    total = count(len(tested.checks), "check")
    verdict = f"All {total} passed."
    if tested.failed:
        verdict = f"{len(tested.failed)} of {total} failed: install lightdose anew, and report what stays."
    return Answer(
        "selftest",
        (
            Points(tuple(points)),
            Say(f"lightdose {tested.version} on {versions}", "note"),
            Say(verdict, "verdict"),
        ),
        lambda: {
            "passed": not tested.failed,
            "checks": [as_json(FIELDS, check) for check in tested.checks],
            "versions": dict(tested.versions),
        },
        sheet=Sheet(FIELDS, tested.checks),
        failed=bool(tested.failed),
    )


def _word(passed: bool) -> str:
    return "passed" if passed else "FAILED"


def _point(check: SelfCheck) -> Point:
    unit = f" {check.unit}" if check.unit and check.unit != "sha256" else ""
    values = f"expected {_shown(check.expected)}{unit}, got {_shown(check.got)}{unit}"
    return Point(f"{check.what}: {values}", _word(check.passed), f"{check.kind}: {check.source}")


def _shown(value: float | str) -> str:
    return value or "nothing" if isinstance(value, str) else f"{value:.7g}"


ROWS_SHOWN: Final = 60
"""Rows of the table on a terminal; the rest is counted. Our choice."""

FAILED: Final = "not computed"
NUMBERS: Final = frozenset(("within", "off", "undecided", "problems", "kWh/day"))


def overview_blocks(names: Sequence[str], rows: Sequence[OverviewRow]) -> list[Block]:
    """A table of setups, each by its name, the worst first, and how many stand where."""
    ranked = sorted(zip(names, rows, strict=True), key=lambda named: named[1].concern)
    heads = max((tuple(head for head, _ in row.cells) for row in rows), key=len)
    columns = [Column("setup", tuple(name for name, _ in ranked), fold=True)]
    for head in heads:
        cells = tuple(dict(row.cells).get(head, NONE) for _, row in ranked)
        columns.append(Column(head, cells, right=head in NUMBERS, fold=head not in NUMBERS))
    strong = tuple(row.concern[0] < 2 for _, row in ranked)
    table = Table(
        "setups", "", tuple(columns), strong, least=6, lines_at_most=ROWS_SHOWN, left_out="further setup"
    )
    return [table, Say(closing_line(rows), "verdict")]


def failed_overview(problems: Sequence[Problem], heads: Sequence[str]) -> OverviewRow:
    """A setup that could not be computed: its first problem under the head that ``heads`` gives last."""
    *empty, told = heads
    cells = tuple((head, NONE) for head in empty)
    return OverviewRow((*cells, (told, in_short(problems[0]))), FAILED, (0.0,), failed=True)


def closing_line(rows: Sequence[OverviewRow]) -> str:
    """How many setups stand where, the worst first."""
    order = {row.standing: row.concern[0] for row in rows}
    counts = Counter(row.standing for row in rows)
    parts = [f"{counts[standing]} {standing}" for standing in sorted(order, key=lambda s: order[s])]
    return f"{count(len(rows), 'setup')}: {', '.join(parts)}."
