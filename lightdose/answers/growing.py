"""`sensitivity --months`: who shades whom as colonies grow, who falls below its range when, what to cut."""

from __future__ import annotations

from collections.abc import Sequence
from operator import attrgetter
from typing import Any, Final

from lightdose.answers.answer import Answer, drawn_of
from lightdose.answers.blocks import Block, Points, Say, Section
from lightdose.answers.field import Field, Sheet, as_json, plain, said, table
from lightdose.answers.words import STATE_WORDS, count, length, percent, range_text, typed_path
from lightdose.errors import literal
from lightdose.model.growing import FASTER, SLOWER, Fall, Growing, Shading, Trim
from lightdose.model.record import dataclass
from lightdose.model.setup import LengthUnit

NAMED_AT_MOST: Final = 3
PAIRS_SHOWN: Final = 12
TRIMS_SHOWN: Final = 5
TITLE: Final = "As the colonies grow"
MONTHS: Final = f"Months in brackets: growth {FASTER:g} times and {SLOWER:g} times as fast as told. "
BASIS: Final = (
    "Everything but the colonies stays as it is, states are by calculated doses, and forms are simple solids."
)


@dataclass(frozen=True)
class Row:
    """A coral in one of the months."""

    coral: str
    months: float
    dli_mol_m2_d: float


# fmt: off
CSV: Final = (
    Field("coral", "coral", attrgetter("coral"), kind="string"),
    Field("months", "months", attrgetter("months"), what="from now", unit="months"),
    Field("dli_mol_m2_d", "DLI", attrgetter("dli_mol_m2_d"), "dli",
          "photons of 400-700 nm in the day by then"),
)
FALL: Final = (
    Field("coral", "coral", attrgetter("coral"), kind="string", fold=True, at={"falls": 0}),
    Field("dli_today_mol_m2_d", "now", attrgetter("dli_today"), "dli", at={"falls": 1}),
    Field("dli_end_mol_m2_d", "then", attrgetter("dli_end"), "dli", at={"falls": 2}),
    said("usual", "usual", lambda f: range_text(*f.band_dli), kind="string", at={"falls": 3}),
    Field("months", "months", attrgetter("months"), csv=False),
    Field("months_range", "months range", lambda f: list(f.months_range), csv=False),
    said("when", "below it in\nmonths", lambda f: months_words(f.months, f.months_range), kind="string",
         at={"falls": 4}),
    Field("state", "state then", attrgetter("state"), kind="string"),
    said("state_words", "then", lambda f: STATE_WORDS[f.state], kind="string", at={"falls": 5}),
    Field("shaded_by", "shaded by", lambda f: dict(f.by), csv=False),
    said("by", "shaded more by", lambda f: _by(f), kind="string", fold=True, at={"falls": 6}),
)
# fmt: on


def months_words(months: float, ends: tuple[float, float]) -> str:
    """ "4 (2-8)": whole months from 2 on."""
    if ends[1] < 0.5:
        return "under 0.5"
    low, middle, high = (f"{m:.0f}" if m >= 2 else f"{m:.1f}" for m in (ends[0], months, ends[1]))
    return f"{middle} ({low}-{high})"


def _by(fall: Fall) -> str:
    named = [f"{literal(name)} {percent(share)}" for name, share in list(fall.by.items())[:NAMED_AT_MOST]]
    return ", ".join(named) or "several, a little each"


def growing_answer(grown: Growing, unit: LengthUnit) -> Answer:
    """What growth does to a tank, and what to cut first."""
    setup = grown.analysis.setup
    return Answer(
        "sensitivity",
        (
            Say(grown.analysis.basis.sentence, "basis"),
            *growing_blocks(grown, unit),
            Say(f"Next: lightdose place {typed_path(setup)}", "verdict"),
        ),
        lambda: {"growth": growing_body(grown)},
        title=setup.title,
        basis=grown.analysis.basis.key,
        judged=grown.analysis.judgement,
        cautions=grown.analysis.cautions,
        setups=(setup,),
        drawn=drawn_of(grown.analysis),
        sheet=Sheet(CSV, _rows(grown)),
    )


def _rows(grown: Growing) -> list[Row]:
    return [
        Row(coral, month, dose)
        for coral, doses in grown.dli.items()
        for month, dose in zip(grown.months, doses, strict=True)
    ]


def growing_blocks(grown: Growing, unit: LengthUnit) -> tuple[Block, ...]:
    """Counts, corals that fall, what to cut, and who shades whom."""
    end = f"{grown.months[-1]:g} months"
    falls = table("falls", f"Below their range within {end}", FALL, grown.falls, least=5)
    told = [n for n, m in enumerate(grown.months) if m > 0 and (m in (3, 6, 12) or m == grown.months[-1])]
    title = "Who comes to shade whom: share of its light kept beyond today"
    pairs = table(
        "shadings",
        title,
        _pair_fields(grown.months, told),
        grown.shadings[:PAIRS_SHOWN],
        least=3,
        note=_more(len(grown.shadings) - PAIRS_SHOWN),
    )
    return (
        Say(_counted(grown)),
        *([Section(falls.caption, (falls,))] if grown.falls else [Say(f"No coral falls below it in {end}.")]),
        *([Section("Cut first", (Points.of(_trim_words(grown.trims, unit)),))] if grown.trims else []),
        *([Section(title, (pairs,), folded=True)] if grown.shadings else []),
        Say((MONTHS if grown.falls or grown.trims else "") + BASIS, "note"),
    )


def _more(pairs: int) -> str:
    return f"{count(pairs, 'smaller share')} left out." if pairs > 0 else ""


def _pair_fields(months: Sequence[float], told: Sequence[int]) -> list[Field]:
    def share(n: int) -> Field:
        head = f"in {months[n]:g}\nmonths"
        return said(
            f"in-{months[n]:g}",
            head,
            lambda s: percent(s.share[n - 1]),
            kind="string",
            at={"shadings": 2 + n},
        )

    return [
        said("by", "colony", lambda s: literal(s.by), kind="string", fold=True, at={"shadings": 0}),
        said("coral", "shades", lambda s: literal(s.coral), kind="string", fold=True, at={"shadings": 1}),
        *(share(n) for n in told),
    ]


def _counted(grown: Growing) -> str:
    """How many grow, and how many corals get what is usual then."""
    words = _grown_words(grown)
    told = [
        f"{c['within']} in {m:g} months" for m, c in zip(grown.months, grown.counts, strict=True) if c and m
    ]
    first = grown.counts[0]
    if first:
        last = told[-1] if len(told) < 3 else f"{told[len(told) // 2 - 1]}, {told[-1]}"
        words += (
            f" Within their range by calculated doses: {first['within']} of {first['judged']} now, {last}."
        )
    return words


def _grown_words(grown: Growing) -> str:
    grow, still = len(grown.growing), len(grown.still)
    words = f"{grow} of {count(grow + still, 'coral')} {'grows' if grow == 1 else 'grow'}"
    if not still:
        return f"{words}."
    rest = "tells no diameter or no growth and stays as it is"
    if still > 1:
        rest = "tell no diameter or no growth and stay as they are"
    return f"{words}; {still} {rest}."


def _trim_words(trims: Sequence[Trim], unit: LengthUnit) -> list[str]:
    return [trim_sentence(trim, unit) for trim in trims[:TRIMS_SHOWN]]


def trim_sentence(trim: Trim, unit: LengthUnit) -> str:
    """ "leather (9 cm now, 15 cm then): keep it at 12 cm, or move open brain; else ..."."""
    named = [literal(name) for name in trim.keeps[:NAMED_AT_MOST]]
    more = len(trim.keeps) - len(named)
    whom = ", ".join(named) + (f" and {more} more" if more else "")
    grows = f"{length(trim.diameter_m, unit)} {unit} now, {length(trim.end_m, unit)} {unit} then"
    if trim.to_m is None:
        return f"{literal(trim.coral)} ({grows}): cutting it is not enough; move {whom}"
    when = months_words(trim.months, (trim.months / FASTER, trim.months / SLOWER))
    cut = "cut it to" if trim.to_m < trim.diameter_m else "keep it at"
    return (
        f"{literal(trim.coral)} ({grows}): {cut} {length(trim.to_m, unit)} {unit}, or move {whom}; else "
        f"{named[0]} falls below its range in {when} months"
    )


def growing_body(grown: Growing) -> dict[str, Any]:
    """The same as values."""
    return {
        "months": list(grown.months),
        "counts": [c and dict(c) for c in grown.counts],
        "dli_mol_m2_d": {coral: list(doses) for coral, doses in grown.dli.items()},
        "falls": [as_json(FALL, fall) for fall in grown.falls],
        "trims": [plain(trim) for trim in grown.trims],
        "shadings": [_shading(s) for s in grown.shadings],
        "growing": list(grown.growing),
        "without_growth": list(grown.still),
    }


def _shading(shading: Shading) -> dict[str, Any]:
    return {"by": shading.by, "coral": shading.coral, "share": list(shading.share)}
