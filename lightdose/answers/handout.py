"""What the sheet for a customer says, in the language of the shop."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Final

from lightdose.answers.blocks import Point
from lightdose.answers.colour import MOSTLY
from lightdose.answers.language import Language, mark
from lightdose.answers.words import length
from lightdose.errors import literal
from lightdose.model.changes import Evidence, EvidenceSide
from lightdose.model.results import Analysis, BasisKey, DliVerdict, Verdict
from lightdose.model.setup import LengthUnit, Setup
from lightdose.model.shop import HandedLight, Handout
from lightdose.quantities import METRES_PER_INCH

LEAST_BLUE: Final = 0.3
MOST_RED: Final = 0.5
"""Shares of PPFD, as in the cautions on the mix: our choice."""

DIMMER: Final = 0.9
"""Below this share of white light a mix looks dim: our choice."""

MEMORY: Final = "from memory"
PRACTICE: Final = mark("common practice, no published source at hand")
FINDINGS: Final = 2
"""Findings of one side that the page has room for; the report lists all."""

WORKING_HOUR_S: Final = 3600.0

TITLE: Final = mark("How these corals get their light")
TRANSLATED: Final = mark("Written in English; translated by us.")
STATES: Final[Mapping[DliVerdict, str]] = {
    "far_below": mark("much less than usual"),
    "below": mark("less than usual"),
    "within": mark("in its usual range"),
    "above": mark("more than usual"),
    "far_above": mark("much more than usual"),
    "undecided": mark("near the edge of its usual range"),
    "not_judged": mark("lives without light"),
}
BASES: Final[Mapping[BasisKey, str]] = {
    "measured": mark("We measured in this tank with a light meter, and calculated the rest."),
    "data sheet": mark(
        "We have not measured this light: we calculated it from the lamps' data sheets. The true light is "
        "probably 60 to 105 % of that (our assumption)."
    ),
    "typical values": mark(
        "We have not measured this light: we calculated it with values typical of such lamps. The true light "
        "may be half as much or twice as much (our assumption)."
    ),
}
DO: Final = (
    mark(
        "Start a new coral at or below the light it had with us: deeper, in half shade, or with the lamp "
        "dimmed."
    ),
    mark("Then give it at most 10 % more in a week (common practice, no published rule)."),
    mark("Keep the same hours every day, by a timer."),
    mark("Measure where the coral sits, with a light meter for PPFD (PAR) if you can borrow one."),
    mark(
        "If it pales or stays closed, look at heat, nutrients, pests and salinity too: light is one of many "
        "causes."
    ),
)
DO_NOT: Final = (
    mark(
        "Do not copy our percentages: another lamp, height or tank gives other light from the same figures."
    ),
    mark("Do not trust the eye or a lux meter: blue light looks dim while it is strong."),
    mark("Do not change lamp, height, programme and place all at once."),
    mark(
        "Do not look into the lamp, nor let children: blue and violet look dim while they are strong, and no "
        "reflex protects the eye."
    ),
)
SAFETY: Final = mark(
    "Switch the light off or dim it before you work under it. Unplug gear over the water before you touch "
    "it, and touch it with dry hands. Give every cable a drip loop, feed it through residual-current "
    "protection, and secure hanging gear twice, so that it cannot fall into the tank. Local codes and the "
    "maker's instructions come first; wiring is for a licensed electrician. These figures are estimates, no "
    "assessment to a safety standard."
)
USUAL: Final = mark(
    "Usual ranges are what keepers commonly give a kind of coral: no optimum, no limit of damage (common "
    "practice)."
)
KEY: Final = mark("Dark: usual for its kind. Mark: this coral. Thin line: what its light may be (95 %).")


def letters(handout: Handout) -> list[str]:
    """What the setups are called on the page: "A" and "B", nothing where there is one."""
    return [""] if len(handout.lights) == 1 else ["A", "B"]


def titles(handout: Handout, w: Language) -> list[str]:
    """Titles of the setups; the second of one name is called changed, so that nobody mixes them up."""
    first, *others = (literal(light.analysis.setup.title) for light in handout.lights)
    return [first, *(w.say("{title}, changed", title=t) if t == first else t for t in others)]


def picture_words(setup: Setup, unit: LengthUnit, w: Language) -> str:
    """What the drawing of the tank shows."""
    heights = sorted({round(f.height_m, 3) for f in setup.lit_fixtures})
    words = [w.say("From the front.")]
    if setup.corals:
        words.append(w.say("Dots: corals."))
    if heights:
        ends = "-".join(w.marked(length(h, unit)) for h in (heights[0], heights[-1])[: len(heights)])
        words.append(w.say("Dashes: lamps, {height} {unit} above the water.", height=ends, unit=unit))
    if setup.rocks:
        words.append(w.say("Grey: rock."))
    return " ".join(words)


def usual_words(verdict: Verdict, w: Language) -> str:
    """What is usual for the coral's kind."""
    group = w.say(literal(verdict.group_name))
    if verdict.band_dli is None:
        return w.say("{group}: lives without light, so no amount is usual", group=group)
    return w.say("{group}: {band} (common practice)", group=group, band=w.band(verdict.band_dli))


def stand_words(verdict: Verdict, w: Language) -> str:
    """The coral's dose, and how it stands to what is usual."""
    dose, state = w.dose(w.number(verdict.dli_mol_m2_d)), w.say(STATES[verdict.dli_verdict])
    return w.say("{dose}: {state}.", dose=dose, state=state)


def mix_of(shares: Mapping[str, float], w: Language) -> str:
    """The parts of the light by colour, the largest first."""
    names = {"blue": w.say("blue"), "green": w.say("green"), "red": w.say("red")}
    known = sorted((share, key) for key, share in shares.items() if key in names and share >= 0.005)
    if not known:
        return w.say("no light")
    return ", ".join(f"{w.percent(share)} {names[key]}" for share, key in reversed(known))


def why_points(handout: Handout, w: Language) -> list[Point]:
    """Three sentences: photons in a day, colour, steadiness."""
    counts = w.say(
        "Corals live on algae in their tissue, and these live on photons: what counts is how many arrive in "
        "a day, the strength of the light times its hours."
    )
    kinds = w.say(
        "Each kind has a range of its own and takes weeks to get used to a change: so its place in the tank "
        "decides, and every day is the same."
    )
    return [
        Point(f"{counts} {_each(handout, w, _photons)}".rstrip(), w.say("Photons in a day")),
        Point(_colour(handout, w), w.say("Colour comes second")),
        Point(kinds, w.say("Steady days")),
    ]


def _each(handout: Handout, w: Language, told: Callable[[HandedLight, Language], str]) -> str:
    """The same of every setup, with its letter where there are two."""
    told_of = [
        (letter, told(light, w)) for letter, light in zip(letters(handout), handout.lights, strict=True)
    ]
    return " ".join(f"{letter}: {text}" if letter else text for letter, text in told_of if text)


def _photons(light: HandedLight, w: Language) -> str:
    if light.place is None:
        return ""
    if not light.is_lit:
        return w.say("No light reaches this tank.")
    dose, here = light.analysis.dose, light.place
    values = {
        "peak": w.ppfd(w.number(float(dose.peak_ppfd[here]))),
        "hours": w.hours(float(dose.peak_equivalent_h[here])),
        "dose": w.dose(w.number(float(dose.dli[here]))),
    }
    if light.corals:
        return w.say(
            "Coral\u00a01 gets {peak} when the light is strongest; its whole day is worth {hours} of that "
            "and adds up to {dose}.",
            **values,
        )
    return w.say(
        "The brightest place gets {peak} when the light is strongest; its whole day is worth {hours} of that "
        "and adds up to {dose}.",
        **values,
    )


def _colour(handout: Handout, w: Language) -> str:
    lit = [light for light in handout.lights if light.is_lit]
    blue = min((light.shares["blue"] for light in lit), default=0.0)
    red = max((light.shares["red"] for light in lit), default=0.0)
    share = {"blue": w.percent(blue), "red": w.percent(red)}
    if not lit:
        return w.say("At equal photons colour matters less, as long as blue is there.")
    if red > MOST_RED:
        return w.say(
            "At equal photons colour matters less as long as blue is there and red does not lead; here {red} "
            "is red, so the trials do not cover this light.",
            **share,
        )
    if blue < LEAST_BLUE:
        return w.say(
            "At equal photons colour matters less as long as blue is there; here only {blue} is blue, so the "
            "trials may not cover this light.",
            **share,
        )
    dim = max((light.looks.lux_share for light in lit if light.looks), default=1.0)
    if blue >= MOSTLY and dim < DIMMER:
        return w.say(
            "At equal photons colour matters less as long as blue is there: {blue} of this light is blue, so "
            "it looks only {dim} as bright as white light, and the coral gets as many photons.",
            dim=w.percent(dim),
            **share,
        )
    return w.say(
        "At equal photons colour matters less as long as blue is there, and {blue} of this light is blue.",
        **share,
    )


def standing_points(handout: Handout, w: Language) -> list[Point]:
    """On what the page stands, the evidence, and how nobody gets hurt: small print."""
    told = [w.say(text) for text in dict.fromkeys(BASES[a.basis.key] for a in _analyses(handout))]
    if len(told) > 1:
        told = [f"{letter}: {text}" for letter, text in zip(letters(handout), told, strict=True)]
    return [
        Point(" ".join([*told, w.say(USUAL)]), w.say("How we know")),
        Point(_trial(handout, w), w.say("A trial")),
        Point(_evidence(handout.evidence, "for", w), w.say("For this")),
        Point(_evidence(handout.evidence, "against", w), w.say("Against")),
        Point(" ".join([*_exposure(handout, w), w.say(SAFETY)]), w.say("Safety")),
    ]


def _analyses(handout: Handout) -> list[Analysis]:
    return [light.analysis for light in handout.lights]


def basis_words(key: BasisKey, w: Language) -> str:
    """On what the figures stand."""
    return w.say(BASES[key])


def _trial(handout: Handout, w: Language) -> str:
    trial = handout.trial
    ends = (trial.lights[0].dli_mol_m2_d, trial.lights[-1].dli_mol_m2_d)
    return w.say(
        "{species} grew {growth} times as fast with {photons} times the photons ({days} days, {dose}) "
        "[{source}]. One species: it shows that photons matter, not how many are best.",
        species=trial.species,
        growth=w.number(trial.growth_ratio, 2),
        photons=w.number(trial.dose_ratio, 2),
        days=trial.growth_days,
        dose=w.dose(w.span(*ends)),
        source=w.say(trial.source),
    )


def shown_evidence(evidence: Sequence[Evidence], side: EvidenceSide) -> list[Evidence]:
    """The first findings of one side and its last; what is told from memory gives way."""
    found = [e for e in evidence if e.side == side and MEMORY not in e.source]
    return found if len(found) <= FINDINGS else [*found[: FINDINGS - 1], found[-1]]


def _evidence(evidence: Sequence[Evidence], side: EvidenceSide, w: Language) -> str:
    sentences = []
    for one in shown_evidence(evidence, side):
        text = w.say(one.text).replace("umol/m2/s", w.ppfd("").strip())
        source = w.say(PRACTICE) if one.source == PRACTICE else one.source
        sentences.append(f"{text[0].upper()}{text[1:]} [{source}].")
    return " ".join(sentences)


def _exposure(handout: Handout, w: Language) -> list[str]:
    """How soon staring into a lamp reaches a limit, where that is within an hour."""
    sentences = []
    for keys, text in (
        (
            ("blue_light_irradiance", "blue_light_radiance"),
            mark("Staring into a lamp at full output from {far} reaches the blue-light limit in {time}."),
        ),
        (
            ("actinic_uv", "uv_a"),
            mark(
                "Staring into a lamp at full output from {far} reaches a limit of ultraviolet in {time}, and "
                "nobody sees it."
            ),
        ),
    ):
        soon = [
            (limit.full_output_s, view.distance_m)
            for analysis in _analyses(handout)
            for view in analysis.hazards
            for limit in view.limits
            if limit.key in keys and limit.full_output_s is not None and limit.full_output_s <= WORKING_HOUR_S
        ]
        if soon:
            seconds, far_m = min(soon)
            far = f"{w.marked(length(far_m, 'cm'))} cm ({far_m / METRES_PER_INCH:.0f} in)"
            sentences.append(w.say(text, far=far, time=w.duration(seconds)))
    return sentences
