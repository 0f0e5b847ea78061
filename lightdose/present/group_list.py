"""The list of coral groups: blocks for people, one record a line for pipes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping

from lightdose.model.coral import CoralGroup
from lightdose.present.labels import DLI_UNIT, PPFD_UNIT, literal, range_text

STATEMENT = (
    "Usual light of coral groups: common practice of the trade, no published source, where nothing else is "
    "named. The usual dose is the midday band x 0.0324 (a day worth 9 h at its peak), rounded. Grade A: two "
    "or more numeric published sources, B: one, C: direction only or related taxa, D: practice only."
)
_INDENT = "    "


def group_blocks(groups: Mapping[str, CoralGroup], sources: Mapping[str, str], width: int) -> Iterator[str]:
    """Lines for a terminal of ``width`` columns: a block for each group, then the sources in full."""
    yield from textwrap.wrap(STATEMENT, width)
    for group in groups.values():
        yield ""
        yield from textwrap.wrap(f"{literal(group.key)}: {literal(group.name)} (grade {group.grade})", width)
        for text in _facts(group):
            yield from textwrap.wrap(text, width, initial_indent=_INDENT, subsequent_indent=2 * _INDENT)
    yield ""
    yield "Sources"
    for key, citation in sources.items():
        yield from textwrap.wrap(
            f"{key}: {citation}", width, initial_indent=_INDENT, subsequent_indent=2 * _INDENT
        )


def group_records(groups: Mapping[str, CoralGroup], sources: Mapping[str, str]) -> Iterator[str]:
    """One line a group, its fields parted by tabs, every source in full."""
    for group in groups.values():
        cited = "; ".join(sources.get(key, key) for key in group.sources)
        fields = [
            f"group {group.key}",
            f"name {group.name}",
            f"grade {group.grade}",
            *(fact for fact in _facts(group) if not fact.startswith("sources ")),
            f"sources {cited}",
        ]
        yield "\t".join(literal(field) for field in fields)


def _facts(group: CoralGroup) -> Iterator[str]:
    if group.band_dli is None:
        yield "usual: not judged by light"
    else:
        yield f"usual {range_text(*group.band_dli)} {DLI_UNIT}{_marks(group)}"
    if group.band_peak is not None:
        yield f"midday {range_text(*group.band_peak)} {PPFD_UNIT}"
    if group.genera:
        yield f"genera {', '.join(literal(g) for g in group.genera)}"
    if group.ek_range is not None:
        basis = literal(group.ek_source.replace(" [C]", ""))
        yield f"saturates from {range_text(*group.ek_range)} {PPFD_UNIT}: {basis}"
    if group.note:
        yield f"bears on it: {literal(group.note)}"
    if group.floor_harm:
        yield f"harm below: {literal(group.floor_harm)}"
    yield f"sources {', '.join(literal(s) for s in group.sources)}"


def _marks(group: CoralGroup) -> str:
    marks = []
    if group.floor_dli is not None:
        marks.append(f"far below under {group.floor_dli:g}")
    if group.ceiling_dli is not None:
        marks.append(f"far above over {group.ceiling_dli:g}")
    return f" ({', '.join(marks)})" if marks else ""
