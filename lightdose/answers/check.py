"""`check`: what was understood, and every problem."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer, OverviewRow
from lightdose.answers.blocks import Say
from lightdose.answers.field import NONE, Field, as_json
from lightdose.errors import Problem
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


def problems_json(problems: Sequence[Problem]) -> list[dict[str, Any]]:
    """Each problem with its place, every file absolute; null where something is not known."""
    return [as_json(PROBLEM, problem) for problem in problems]


def check_answer(setup: Setup | None, problems: tuple[Problem, ...], understood: Sequence[str]) -> Answer:
    """What was understood, and that nothing is wrong where nothing is; the frame tells problems."""
    n = sum(p.stands_for for p in problems)
    title = setup.title if setup else NONE
    cells = (("problems", str(n)), ("first", in_short(problems[0]) if problems else NONE), ("title", title))
    return Answer(
        "check",
        (*map(Say, understood), *([] if n else [Say("no problems", "verdict")])),
        lambda: {"problems": problems_json(problems), "understood": list(understood)},
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
