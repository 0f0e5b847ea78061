"""The ranges of dose that corals of a tank lived in, by its own records."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from lightdose.answers.blocks import Block, Say, Section
from lightdose.answers.diary_words import range_words
from lightdose.answers.field import Field, as_json, table
from lightdose.answers.words import as_typed, count, path_from, typed_path
from lightdose.model.diary import GroupRange, OwnRange
from lightdose.model.record import dataclass
from lightdose.model.setup import Setup


@dataclass(frozen=True)
class OwnRecords:
    """Ranges by coral and by group, and the groups file that holds them; None where there is none."""

    corals: tuple[OwnRange, ...]
    groups: tuple[GroupRange, ...]
    file: Path | None


def _ends(row: OwnRange | GroupRange) -> tuple[float, float]:
    return row.low, row.high


# fmt: off
CORAL: Final = (
    Field("coral", "coral", lambda r: r.coral, kind="string", fold=True, at={"own": 0}),
    Field("group", "group", lambda r: r.group, kind="string", at={"own": 2}),
    Field("dli_band", "lived in", _ends, "dli", "lowest and highest dose that it lived in",
          show=lambda ends: range_words(*ends), at={"own": 1}),
    Field("scores", "scores", lambda r: r.notes, kind="integer", at={"own": 3}),
    Field("days", "days", lambda r: r.days, kind="integer", at={"own": 4},
          what="that its runs of stable or rising scores span"),
    Field("first", "from", lambda r: r.first, kind="string", at={"own": 5}),
    Field("last", "to", lambda r: r.last, kind="string", at={"own": 6}),
)
GROUP: Final = (
    Field("group", "group", lambda r: r.group, kind="string", at={"groups": 0}),
    Field("dli_band", "lived in", _ends, "dli", show=lambda ends: range_words(*ends), at={"groups": 1}),
    Field("corals", "corals", lambda r: r.corals, kind="integer", at={"groups": 2}),
    Field("scores", "scores", lambda r: r.notes, kind="integer", at={"groups": 3}),
    Field("source", "source", lambda r: r.source, kind="string", at={"groups": 4}),
)
# fmt: on

NO_TRIAL: Final = (
    "Own records are no trial: they tell in which doses corals stayed stable here, not what is best, and "
    "nothing of doses that they never had."
)


def own_body(own: OwnRecords) -> Mapping[str, Any]:
    """What the JSON holds of them."""
    return {
        "own_ranges": {
            "corals": [as_json(CORAL, row) for row in own.corals],
            "groups": [as_json(GROUP, row) for row in own.groups],
            "grade": "own",
            "file": None if own.file is None else str(own.file.absolute()),
        }
    }


def own_section(own: OwnRecords) -> Section:
    """The ranges by group and by coral, with what they stand on."""
    title = "Own ranges: what stable corals lived in"
    if not own.corals:
        missing = (
            "No coral has colour scores over 60 days, at most 60 days apart, without a fall of 2 or more, "
            "while its light was known."
        )
        return Section(title, (Say(missing),))
    blocks: tuple[Block, ...] = (
        table("groups", "By group", GROUP, own.groups),
        table("own", "By coral", CORAL, own.corals, least=2),
        Say(NO_TRIAL, "note"),
    )
    return Section(title, blocks)


def own_sentence(own: OwnRecords, setup: Setup) -> str:
    """The next step."""
    if own.file is None:
        return f"No own range yet. Next: lightdose note {typed_path(setup)} --sheet, every few weeks"
    groups = ", ".join(f"{g.group} {range_words(g.low, g.high)}" for g in own.groups)
    return (
        f"{count(len(own.groups), 'group')} by own records: {groups}. Next: groups = "
        f'"{path_from(setup, own.file)}" above the first table of {as_typed(setup.path)}'
    )
