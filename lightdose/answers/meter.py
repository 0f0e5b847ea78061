"""What one reading stands for: `meter` in a setup, `estimate` without any file."""

from __future__ import annotations

from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say, Section
from lightdose.answers.field import Field, as_json, plain, table
from lightdose.answers.verdicts import STATES
from lightdose.answers.words import (
    DLI_UNIT,
    PPFD_UNIT,
    STATE_WORDS,
    length,
    number,
    percent,
    range_text,
    typed_path,
)
from lightdose.model.results import BasisKey
from lightdose.model.setup import Setup
from lightdose.model.shop import Estimate, Factor, Question, Range, Standing
from lightdose.model.spectrum import MeterAnswer

MIX_SHOWN: Final = 4


def meter_answer(read: MeterAnswer, setup: Setup, basis: BasisKey) -> Answer:
    """The figure first, how it comes about, and beside it what the setup's model says."""
    mix = ", ".join(f"{name} {percent(share)}" for name, share in read.mix[:MIX_SHOWN])
    return Answer(
        "meter",
        (
            Say(_headline(read), "strong"),
            Say(_factors(read)),
            Say(f"The mix: {mix}{' and others' if len(read.mix) > MIX_SHOWN else ''}."),
            Points.of(f"Assumed: {sentence}." for sentence in read.assumed),
            Say(_beside_the_model(read, setup), "verdict"),
        ),
        lambda: (
            plain(read)
            | {
                "unit": "lux" if read.unit == "lux" else "umol_m2_s",
                "mix": [{"channel": name, "share": share} for name, share in read.mix],
            }
        ),
        title=setup.title,
        basis=basis,
        setups=(setup,),
    )


def _headline(read: MeterAnswer) -> str:
    low, high = read.interval_95
    unit = "lx" if read.unit == "lux" else PPFD_UNIT
    return (
        f"{number(read.reading)} {unit} at {read.where} stands for {number(read.ppfd_umol_m2_s)} {PPFD_UNIT} "
        f"PPFD (95 %: {number(low)} to {number(high)})."
    )


def _factors(read: MeterAnswer) -> str:
    what = f"{PPFD_UNIT} per lx under this mix" if read.unit == "lux" else "spectral factor under this mix"
    steps = [f"{_factor(read.spectral_factor)} {what}"]
    if read.immersion_factor is not None:
        built_in = " (built into the meter)" if read.immersion_factor == 1 else ""
        steps.append(f"{_factor(read.immersion_factor)} immersion{built_in}")
    return f"Reading times {', times '.join(steps)}."


def _factor(value: float) -> str:
    return f"{value:.3f}" if value >= 0.1 else f"{value:.4f}"


def _beside_the_model(read: MeterAnswer, setup: Setup) -> str:
    low, high = read.interval_95
    model = read.model_ppfd_umol_m2_s
    lead = f"The setup's own model says {number(model)} {PPFD_UNIT} here"
    if low <= model <= high:
        return f"{lead}: the reading agrees."
    following = f"lightdose survey {typed_path(setup)}"
    return f"{lead}: outside that interval, so calibrate would change it. Next: {following}"


BASIS: Final = "Based on one reading and typical mixes of LED colours; not a confidence interval."
WHITE_WORDS: Final = {"none": "no white on", "little": "a little white on", "much": "much white on"}
SUNLIGHT_SOURCE: Final = "54 lx per umol, Thimijan & Heins 1983, second hand"


def state_span(standing: Standing) -> str:
    """The states of a range: "below usual to above usual"."""
    first, last = STATE_WORDS[standing.states[0]], STATE_WORDS[standing.states[-1]]
    return first if first == last else f"{first} to {last}"


def _states(asked: Estimate) -> list[str]:
    spanned = {state for standing in asked.standings for state in standing.states}
    return [state for state in (*STATES, "not_judged") if state in spanned]


# fmt: off
RANGE: Final = (
    Field("ppfd_umol_m2_s", "PPFD", lambda e: e.ppfd_umol_m2_s, "ppfd"),
    Field("dli_mol_m2_d", "DLI", lambda e: e.dli_mol_m2_d, "dli"),
    Field("full_hours_h", "full hours", lambda e: e.full_hours_h, "peak_equivalent"),
    Field("group", "group", lambda e: e.group, what="key of the group asked for"),
    Field("states", "states", _states, what="that the range spans, of the group asked for or of all"),
    Field("would_a_better_reading_change_the_advice", "advice changes", lambda e: e.would_change),
    Field("reading_settles_it", "settles", lambda e: e.settles, what="whether such a meter can settle it"),
    Field("mixes", "mixes", lambda e: e.mixes, what="mixes of library channels that were tried"),
    Field("lux_per_umol", "lx per umol", lambda e: e.lux_per_umol, what="over the mixes"),
    Field("claimed_ppfd_umol_m2_s", "claim", lambda e: e.sunlight_claim_umol_m2_s,
          key="sunlight_factor.claimed_ppfd_umol_m2_s", what="PPFD that the sunlight factor would claim"),
    Field("share_of_true_ppfd", "share", lambda e: e.sunlight_share,
          key="sunlight_factor.share_of_true_ppfd"),
    Field("light_says", "rules", lambda e: e.rules, what="what the range says of the group"),
    Field("ask", "ask", lambda e: e.ask, what="what else to ask about a pale coral"),
    Field("limits", "limits", lambda e: e.limits, what="what this cannot know"),
)
GROUP: Final = (
    Field("group", "group", lambda s: s.group, kind="string", at={"groups": 0}),
    Field("name", "name", lambda s: s.name, kind="string"),
    Field("band_dli", "usual", lambda s: s.band_dli, "dli", kind="string", at={"groups": 1},
          show=lambda band: range_text(*band)),
    Field("states", "this reading", lambda s: s.states, kind="string"),
    Field("span", "this reading", state_span, key="", kind="string", at={"groups": 2}),
    Field("would_a_better_reading_change_the_advice", "advice changes", lambda s: s.advice_changes),
    Field("grade", "grade", lambda s: s.grade, kind="string", at={"groups": 3}),
    Field("sources", "sources", lambda s: s.sources, kind="string"),
)
# fmt: on


def estimate_answer(asked: Estimate) -> Answer:
    """The range first, then what it says of corals, what else to ask, and what would tell more."""
    caption = "What that is for each group"
    judged = [s for s in asked.standings if s.band_dli is not None]
    groups = table("groups", caption, GROUP, judged, least=3)
    return Answer(
        "estimate",
        (
            Say(BASIS, "basis"),
            Say(_question(asked)),
            Say(_span_headline(asked), "strong"),
            *([] if asked.group is None else map(Say, _of_group(asked))),
            Say(_sunlight(asked)),
            *([] if asked.settles else [Say(_unsettled(asked))]),
            *([Section(caption, (groups,))] if asked.group is None else []),
            Section("What the width comes from", (Points(tuple(map(_cause, asked.factors))),), brief=False),
            Section("Ask about a pale coral, whatever the light", (Points.of(asked.ask),)),
            Section("What this cannot know", (Points.of(asked.limits),)),
            Section("", (Say("--all shows what the width comes from.", "note"),), extra=False),
            Say(closing_line(asked), "verdict"),
        ),
        lambda: _body(asked),
        basis="typical values",
    )


def _body(asked: Estimate) -> dict[str, Any]:
    factors = [{"factor": f.name, "low": f.low, "high": f.high, "source": f.source} for f in asked.factors]
    own = {"factors": factors, "groups": [as_json(GROUP, standing) for standing in asked.standings]}
    return {**plain(asked.question), **as_json(RANGE, asked), **own}


def _question(asked: Estimate) -> str:
    question = asked.question
    unit = "lx" if question.unit == "lux" else PPFD_UNIT
    ramps = f"ramps of {question.ramp_h:g} h{' (assumed; --ramp)' if question.ramp_assumed else ''}"
    return (
        f"{number(question.reading)} {unit} {_where(question)}, {WHITE_WORDS[question.white]}, "
        f"{question.hours_h:g} h of light with {ramps}: worth {asked.full_hours_h:.4g} h at the reading."
    )


def _where(question: Question) -> str:
    depth = "" if question.depth_m is None else f"{length(question.depth_m, 'cm')} cm"
    if question.where == "water":
        return f"under water at {depth}" if depth else "under water"
    return f"in the air, carried down to {depth} depth" if depth else "in the air"


def _span_headline(asked: Estimate) -> str:
    return f"PPFD {_span(asked.ppfd_umol_m2_s)} {PPFD_UNIT}; in a day {_span(asked.dli_mol_m2_d)} {DLI_UNIT}."


def _span(ends: Range) -> str:
    return f"{number(ends[0], 2)} to {number(ends[1], 2)}"


def _of_group(asked: Estimate) -> list[str]:
    """How the group asked for stands, and what that says."""
    (standing,) = asked.standings
    usual = ""
    if standing.band_dli is not None:
        usual = f" (usual {range_text(*standing.band_dli)} {DLI_UNIT}, grade {standing.grade})"
    return [f"For {standing.name}{usual}: {state_span(standing)}.", *asked.rules]


def _sunlight(asked: Estimate) -> str:
    """What a sunlight factor would have claimed."""
    low, high = asked.sunlight_share
    share = f"{100 * low:.0f} to {100 * high:.0f} % of the photons"
    factor = f"sunlight factor ({SUNLIGHT_SOURCE})"
    if asked.question.unit == "umol":
        return f"A lux meter with the {factor} would find {share} under such mixes."
    claim = number(asked.sunlight_claim_umol_m2_s[0])
    return f"The {factor} would have claimed {claim} {PPFD_UNIT}: under such mixes it finds {share}."


def _unsettled(asked: Estimate) -> str:
    question = asked.question
    times = asked.ppfd_umol_m2_s[1] / asked.ppfd_umol_m2_s[0]
    wide = f"the ends lie {number(times, 2)} times apart"
    if question.unit == "lux" and question.white == "none":
        return (
            f"A phone or lux meter cannot settle this: without white {wide}, since blue and violet make few "
            "lux and each diode another number. A meter of photons (umol) would."
        )
    if question.unit == "lux":
        return f"Lux settle little here: {wide}. A meter of photons (umol) would narrow it."
    if question.where == "air" and question.depth_m:
        return (
            f"A reading in the air settles little at depth: {wide}. Read under water, where the coral stands."
        )
    return f"This reading settles little: {wide}. Find the meter's immersion factor (--immersion)."


def _cause(factor: Factor) -> Point:
    ends = [number(factor.low), *([number(factor.high)] if factor.high != factor.low else [])]
    return Point(f"times {' to '.join(ends)}", factor.name, factor.source)


def closing_line(asked: Estimate) -> str:
    """Whether a better reading would change the advice, and the next command."""
    if asked.group is None:
        torn = sum(s.advice_changes for s in asked.standings)
        judged = sum(s.band_dli is not None for s in asked.standings)
        whom = f"{torn} of {judged} groups" if torn else "no group"
        following = "the same with --group KEY (lightdose groups lists them)"
        return f"A better reading would change the advice for {whom}. Next: {following}"
    if not asked.would_change:
        return "A better reading would not change the advice. Next: lightdose groups"
    following = "lightdose init my-tank, then lightdose survey my-tank/setup.toml"
    return f"A better reading would change the advice. Next: {following}"
