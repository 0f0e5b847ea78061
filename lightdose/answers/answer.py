"""An answer: everything that a command has to say, and the envelope that all JSON shares."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import field
from typing import Any

from lightdose.answers.blocks import Block
from lightdose.answers.field import Sheet
from lightdose.answers.provenance import provenance
from lightdose.errors import Problem
from lightdose.model.identity import Program
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, BasisKey, Caution, Judgement
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
    drawn : seed and number of draws of what is not known exactly; None where none of it was drawn
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
    drawn: tuple[int, int] | None = None
    failed: bool = False


def envelope(answer: Answer, program: Program) -> dict[str, Any]:
    """The whole answer as one versioned JSON object: what all answers share, and its own body."""
    shared = {
        "format": f"lightdose-{answer.name}/1",
        "title": answer.title,
        "basis": answer.basis,
        **_counts(answer.judged),
    }
    tail = {
        "cautions": [{"code": c.code, "text": c.text, "source": c.source} for c in answer.cautions],
        "provenance": provenance_of(answer, program),
    }
    return shared | dict(answer.body()) | tail


def provenance_of(answer: Answer, program: Program) -> dict[str, Any]:
    """What identifies the run that an answer tells of."""
    return provenance(program, answer.setups, answer.inputs, answer.drawn)


def drawn_of(analysis: Analysis) -> tuple[int, int] | None:
    """Seed and number of an analysis's draws."""
    known = analysis.uncertainty
    return None if known is None else (known.seed, known.draws)


def _counts(judged: Judgement | Mapping[str, Judgement] | None) -> dict[str, Any]:
    """Both counts of the corals: by verdicts, and by the stated values alone."""
    if judged is None or isinstance(judged, Judgement):
        return {
            "counts": judged and judged.counts,
            "calculated_counts": judged and judged.calculated_counts,
        }
    each = {when: _counts(one) for when, one in judged.items()}
    return {key: {when: one[key] for when, one in each.items()} for key in _counts(None)}
