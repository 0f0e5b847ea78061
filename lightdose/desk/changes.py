"""All changes that a page can ask for, by their names."""

from __future__ import annotations

from lightdose.desk import begin, edits, programme_edits, reading_edits
from lightdose.desk.bench import Bench, Change, text_of
from lightdose.errors import LightdoseError, Problem, SetupError
from lightdose.files.units import UnitProblem

MOST_TOGETHER = 400
"""Changes that are one step. Our choice."""

_BY_NAME = {**edits.CHANGES, **programme_edits.CHANGES, **reading_edits.CHANGES, **begin.CHANGES}


def apply(bench: Bench, change: Change) -> str:
    """Make a change in the texts of a bench; gives the words for it.

    Raises
    ------
    LightdoseError
        If it cannot be made; then the bench is not to be used any more.
    """
    try:
        what = change.get("do")
        if what == "several":
            return _several(bench, change)
        if not isinstance(what, str) or what not in _BY_NAME:
            raise SetupError(Problem("the page asked for something that is not known here"))
        return _BY_NAME[what](bench, change)
    except UnitProblem as trouble:
        raise SetupError(trouble.problem) from None
    except (KeyError, TypeError, ValueError, IndexError, AttributeError) as trouble:
        if isinstance(trouble, LightdoseError):
            raise
        raise SetupError(Problem("the page asked for a change that makes no sense here")) from trouble


def _several(bench: Bench, change: Change) -> str:
    """Several changes as one step."""
    parts = change["changes"]
    if not isinstance(parts, list) or not 0 < len(parts) <= MOST_TOGETHER:
        raise ValueError("changes")
    if any(part.get("do") == "several" for part in parts):
        raise ValueError("changes")
    for part in parts:
        apply(bench, part)
    return text_of(change, "words")
