"""`groups`: the coral groups, their usual light, and what that stands on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say, Section
from lightdose.answers.field import Field, Sheet, as_json
from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, range_text
from lightdose.model.setup import CoralGroup

STATEMENT: Final = (
    "Usual light of coral groups: common practice of the trade, no published source, where nothing else is "
    "named. The usual dose is the midday band x 0.0324 (a day worth 9 h at its peak), rounded. Grade A: two "
    "or more numeric published sources, B: one, C: direction only or related taxa, D: practice only."
)


def _or_none(of: str) -> Callable[[CoralGroup], str | None]:
    return lambda group: getattr(group, of) or None


# fmt: off
FIELDS: Final = (
    Field("group", "group", lambda g: g.key, kind="string", what="key that files name it by"),
    Field("name", "name", lambda g: g.name, kind="string"),
    Field("genera", "genera", lambda g: g.genera, kind="string"),
    Field("band_dli", "usual DLI", lambda g: g.band_dli, "dli",
          what="usual dose; empty where light does not judge",
          parts=(("band_dli_low_mol_m2_d", "usual dose, low end"), ("band_dli_high_mol_m2_d",
                "usual dose, high end"))),
    Field("floor_dli", "floor", lambda g: g.floor_dli, "dli", what="below it: far below usual"),
    Field("ceiling_dli", "ceiling", lambda g: g.ceiling_dli, "dli", what="above it: far above usual"),
    Field("band_peak_umol_m2_s", "midday PPFD", lambda g: g.band_peak, "ppfd",
          parts=(("band_peak_low_umol_m2_s", "usual at midday, low end"), ("band_peak_high_umol_m2_s",
                "usual at midday, high end"))),
    Field("ek_range_umol_m2_s", "Ek", lambda g: g.ek_range, "ppfd",
          parts=(("ek_low_umol_m2_s", "light where saturation begins, low end"), ("ek_high_umol_m2_s",
                "light where saturation begins, high end"))),
    Field("ek_model", "Ek fit", lambda g: g.ek_model if g.ek_range else None, kind="string"),
    Field("ek_source", "Ek stands on", lambda g: g.ek_source, kind="string"),
    Field("grade", "grade", lambda g: g.grade, kind="string", what="evidence: A strongest, D practice only"),
    Field("sources", "sources", lambda g: g.sources, kind="string"),
    Field("note", "evidence", lambda g: g.note, kind="string"),
    Field("floor_harm", "harm below the floor", _or_none("floor_harm"), kind="string"),
)
# fmt: on


def groups_answer(
    groups: Mapping[str, CoralGroup], sources: Mapping[str, str], title: str | None = None
) -> Answer:
    """Every group with its marks, and the citations in full."""
    body = {
        "groups": [
            as_json(FIELDS, group) | {"sources": [sources.get(key, key) for key in group.sources]}
            for group in groups.values()
        ],
        "sources": dict(sources),
    }
    listed = [
        Section(f"{g.key}: {g.name} (grade {g.grade})", (Points(tuple(map(Point, _facts(g)))),))
        for g in groups.values()
    ]
    citations = Points(tuple(Point(citation, key) for key, citation in sources.items()))
    return Answer(
        "groups",
        (Say(STATEMENT), *listed, Section("Sources", (citations,))),
        lambda: body,
        title=title,
        sheet=Sheet(FIELDS, list(groups.values())),
    )


def _facts(group: CoralGroup) -> list[str]:
    """What is known of a group, a line a thought."""
    usual = "usual: not judged by light"
    if group.band_dli is not None:
        marks = [
            f"{words} {dose:g}"
            for words, dose in (("far below under", group.floor_dli), ("far above over", group.ceiling_dli))
            if dose is not None
        ]
        marked = f" ({', '.join(marks)})" if marks else ""
        usual = f"usual {range_text(*group.band_dli)} {DLI_UNIT}{marked}"
    ek = ""
    if group.ek_range is not None:
        basis = group.ek_source.replace(" [C]", "")
        ek = f"saturates from {range_text(*group.ek_range)} {PPFD_UNIT}: {basis}"
    facts = (
        usual,
        f"midday {range_text(*group.band_peak)} {PPFD_UNIT}" if group.band_peak else "",
        f"genera {', '.join(group.genera)}" if group.genera else "",
        ek,
        f"evidence: {group.note}" if group.note else "",
        f"harm below: {group.floor_harm}" if group.floor_harm else "",
        f"sources {', '.join(group.sources)}",
    )
    return [fact for fact in facts if fact]
