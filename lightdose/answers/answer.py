"""An answer: everything that a command has to say, and the envelope that all JSON shares."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from typing import Any

from lightdose.answers.blocks import Block
from lightdose.answers.field import Sheet
from lightdose.errors import Problem
from lightdose.model.record import dataclass
from lightdose.model.results import BasisKey, Caution, Judgement
from lightdose.model.setup import Setup


@dataclass(frozen=True)
class OverviewRow:
    """One setup of many, in a line.

    Attributes
    ----------
    cells : head and text of each column, the most telling first
    standing : the group that it is counted under, such as "with corals off"; its place among groups is
        the first number of ``concern``
    concern : sorts the rows, the worst first
    failed : whether nothing could be computed
    """

    cells: tuple[tuple[str, str], ...]
    standing: str
    concern: tuple[float, ...]
    failed: bool = False


@dataclass(frozen=True, eq=False)
class Answer:
    """What a command has to say.

    Attributes
    ----------
    name : of the command; its JSON has the format "lightdose-NAME/1"
    blocks : what terminals, pipes and pages print, in order
    body : makes what the JSON holds besides its envelope
    basis : on what it stands; None where it stands on no setup
    judged : how the corals stand, or that "before" and "after"; None where the answer judges none
    setups : that it was computed from
    sheet : its rows as values, for ``--csv``
    pictures : draws the figures of ``--figures``
    overview : its line among many setups
    missed : whether it misses what ``--strict`` holds it to
    problems : that it found in the files; they set the exit code to 2
    inputs : files besides those of the setups, with their sha256
    failed : whether the program itself does not do what it must; exit code 1
    """

    name: str
    blocks: tuple[Block, ...]
    body: Callable[[], Mapping[str, Any]]
    title: str | None = None
    basis: BasisKey | None = None
    judged: Judgement | Mapping[str, Judgement] | None = None
    cautions: tuple[Caution, ...] = ()
    setups: tuple[Setup, ...] = ()
    sheet: Sheet | None = None
    pictures: Callable[[], Sequence[Any]] | None = None
    overview: OverviewRow | None = None
    missed: bool = False
    problems: tuple[Problem, ...] = ()
    inputs: Mapping[str, str] = field(default_factory=dict)
    failed: bool = False


def envelope(answer: Answer, version: str) -> dict[str, Any]:
    """The whole answer as one versioned JSON object: what all answers share, and its own body.

    ``provenance`` names the version and every file that was read with its sha256.
    """
    inputs = dict(answer.inputs)
    for setup in answer.setups:
        inputs |= setup.inputs_sha256
    shared = {
        "format": f"lightdose-{answer.name}/1",
        "title": answer.title,
        "basis": answer.basis,
        **_counts(answer.judged),
    }
    tail = {
        "cautions": [{"code": c.code, "text": c.text, "source": c.source} for c in answer.cautions],
        "provenance": {"version": version, "inputs_sha256": inputs},
    }
    return shared | dict(answer.body()) | tail


def _counts(judged: Judgement | Mapping[str, Judgement] | None) -> dict[str, Any]:
    """Both counts of the corals: by verdicts, and by the stated values alone."""
    if judged is None or isinstance(judged, Judgement):
        return {
            "counts": judged and judged.counts,
            "calculated_counts": judged and judged.calculated_counts,
        }
    each = {when: _counts(one) for when, one in judged.items()}
    return {key: {when: one[key] for when, one in each.items()} for key in _counts(None)}
