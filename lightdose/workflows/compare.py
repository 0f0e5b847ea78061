"""Two setups beside one another, and what a customer's sheet takes from them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from lightdose.analysis import channel_spectra, judged_under, light_of, site_days, site_spectra
from lightdose.errors import Place, Problem, SetupError
from lightdose.files.growth_trial import growth_trial
from lightdose.files.library import read_emitter, reference_tables
from lightdose.judge.comparison import RatioDraws, Side, compare_analyses, same_light_field, same_solids
from lightdose.judge.map_choice import EVIDENCE
from lightdose.judge.plain_words import rounded_down
from lightdose.model.comparison import Compared, Comparison, LooksAndGets, SiteComparison
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import Setup
from lightdose.model.shop import HandedLight, Handout, Slip
from lightdose.near_names import did_you_mean
from lightdose.physics import spectrum_metrics
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.emission import TRISTIMULUS_WEIGHTINGS
from lightdose.physics.light_field import PreparedField
from lightdose.workflows.advice import advice_on, keeping

See = Callable[[int, FloatArray, FloatArray], None]
MOST_PREVIOUS = 100.0
"""A setup takes no higher `previous` than this. [mol m-2 d-1]"""


def handout(analysis: Analysis, other: Analysis | None = None, date: str | None = None) -> Handout:
    """The customer's page of one setup, or of two beside one another.

    Quickest where the analyses were made with ``also=TRISTIMULUS_WEIGHTINGS``.
    """
    analyses = [a for a in (analysis, other) if a is not None]
    common = set.intersection(*({v.coral for v in a.verdicts} for a in analyses))
    same = _shown_corals([v for v in analysis.verdicts if v.coral in common])
    lights = tuple(_handed(a, same or _shown_corals(a.verdicts)) for a in analyses)
    return Handout(lights, EVIDENCE, growth_trial(), date)


def slip(analysis: Analysis, coral: str, date: str) -> Slip:
    """The slip of one coral.

    Raises
    ------
    SetupError
        If the setup has no coral of that name.
    """
    setup = analysis.setup
    verdict = next((v for v in analysis.verdicts if v.coral == coral), None)
    if verdict is None:
        names = [v.coral for v in analysis.verdicts]
        allowed = ", ".join(map(repr, names[:20])) or "none is named"
        more = f" and {len(names) - 20} more" if len(names) > 20 else ""
        cure = did_you_mean(coral, names)
        raise SetupError(
            Problem(f"there is no coral {coral!r}", f"{allowed}{more}", cure, place=Place(setup.path))
        )
    start = rounded_down(verdict.dli_mol_m2_d) if verdict.dli_mol_m2_d > 0 else 0.0
    return Slip(analysis, verdict, start if 0 < start <= MOST_PREVIOUS else None, date)


def _handed(analysis: Analysis, corals: Sequence[str]) -> HandedLight:
    by_name = {v.coral: v for v in analysis.verdicts}
    shown = tuple(by_name[name] for name in corals)
    sites = sorted(range(len(analysis.setup.sites)), key=lambda i: -float(analysis.dose.dli[i]))
    place = next(iter([*(v.receiver for v in shown), *sites]), None)
    if place is None:
        return HandedLight(analysis, (), None, None, None)
    (day,) = site_days(analysis, [place])
    return HandedLight(analysis, shown, place, day, looks_and_gets(analysis)[place])


SHOWN_CORALS = 3
"""Corals that stand for all on a customer's page: our choice."""


def _shown_corals(verdicts: Sequence[Verdict]) -> list[str]:
    """The brightest, one between and the dimmest, in this order: of those in their usual range if any."""
    lit = [v for v in verdicts if v.dli_mol_m2_d > 0]
    known = [v for v in lit if v.band_dli is not None] or lit
    for states in (("within",), ("within", "undecided"), None):
        pool = [v for v in known if states is None or v.dli_verdict in states]
        if len(pool) > 1:
            break
    pool.sort(key=lambda v: -v.dli_mol_m2_d)
    if len(pool) <= SHOWN_CORALS:
        return [v.coral for v in pool]
    first, *rest, last = pool
    middle = math.sqrt(first.dli_mol_m2_d * last.dli_mol_m2_d)

    def apart(verdict: Verdict) -> tuple[bool, float]:
        return verdict.group in (first.group, last.group), abs(math.log(verdict.dli_mol_m2_d / middle))

    return [first.coral, min(rest, key=apart).coral, last.coral]


WHITE, WHITE_NAME = "white-led-b5", "CIE LED-B5"
"""The white light that stands beside a place's own: a phosphor LED of 6,600 K. Our choice among CIE's."""


def compare(
    a: Setup, b: Setup, *, certainty: bool = True, names: tuple[str, str] | None = None
) -> Comparison:
    """Everything `lightdose compare` reports: B over A for every site and coral of both.

    Where the two differ in programmes alone they share one light field, and dose ratios get intervals from
    common draws. ``names`` are their titles where None.

    Raises
    ------
    SetupError
        If a channel of an enabled fixture has no absolute flux.
    """
    seen = _eye()
    light = light_of(a, TRISTIMULUS_WEIGHTINGS)
    first = light[0]
    shared = same_light_field(a, b)
    draws, kept = RatioDraws({}, {}), (keeping(a), keeping(b))
    ratios = (draws.see_before, draws.see_after) if shared else (None, None)
    before = judged_under(a, *light, certainty=certainty, see=_both(kept[0].see, ratios[0]))
    before = replace(before, advice=advice_on(before, light[0], kept[0]) if certainty else None)
    if shared:
        ready, field = light
        light = ready.running(b.lit_fixtures), field
    else:
        light = light_of(b, TRISTIMULUS_WEIGHTINGS)
    after = judged_under(b, *light, certainty=certainty, see=_both(kept[1].see, ratios[1]))
    after = replace(after, advice=advice_on(after, light[0], kept[1]) if certainty else None)
    bare: tuple[FloatArray | None, FloatArray | None] = None, None
    if not same_solids(a, b):
        bare = _without_solids(before, first), _without_solids(after, light[0])
    one, other = (Side(x, _looks(x, seen), y) for x, y in zip((before, after), bare, strict=True))
    return compare_analyses(one, other, names or _titles(a, b), draws.ratio if shared else None)


def _without_solids(analysis: Analysis, ready: PreparedField) -> FloatArray:
    """Doses of every receiver with nothing in the water. [mol m-2 d-1]"""
    field = ready.only("ppfd").clear.light_field(analysis.light_field.receivers)
    return daily_light_integral(field.of("ppfd"), analysis.day_curve)


def _both(one: See, other: See | None) -> See:
    """What shows the draws of a receiver to two that want them."""

    def see(receiver: int, dli: FloatArray, response: FloatArray) -> None:
        one(receiver, dli, response)
        if other is not None:
            other(receiver, dli, response)

    return see


def with_days(comparison: Comparison, sites: Sequence[SiteComparison]) -> Compared:
    """A comparison with both days and both spectra at some of its sites, for figures."""
    a, b = (comparison.before, [s.a for s in sites]), (comparison.after, [s.b for s in sites])
    return Compared(comparison, sites, (site_days(*a), site_days(*b)), (site_spectra(*a), site_spectra(*b)))


def looks_and_gets(analysis: Analysis) -> tuple[LooksAndGets | None, ...]:
    """What every receiver gets beside how it looks, at the time of its peak; None where there is no light.

    Quickest where the analysis was made with ``also=TRISTIMULUS_WEIGHTINGS``.
    """
    return _looks(analysis, _eye())


def _eye() -> spectrum_metrics.Eye:
    return spectrum_metrics.eye(reference_tables(), read_emitter(WHITE), WHITE_NAME)


def _looks(analysis: Analysis, seen: spectrum_metrics.Eye) -> tuple[LooksAndGets | None, ...]:
    field = analysis.light_field
    return spectrum_metrics.looks_and_gets(field, analysis.day_curve, _tristimulus(analysis), seen)


def _tristimulus(analysis: Analysis) -> FloatArray:
    """X, Y, Z of every channel at every receiver at full output, shape (n_site, n_channel, 3). [lx]"""
    field = analysis.light_field
    if set(TRISTIMULUS_WEIGHTINGS) <= set(field.weightings):
        first = field.weightings.index(TRISTIMULUS_WEIGHTINGS[0])
        return field.response[:, :, first : first + len(TRISTIMULUS_WEIGHTINGS)]
    everywhere: Sequence[int] = range(len(field.receivers))
    return spectrum_metrics.tristimulus_of(channel_spectra(analysis, everywhere), reference_tables())


def _titles(a: Setup, b: Setup) -> tuple[str, str]:
    if a.title != b.title:
        return a.title, b.title
    if a.path != b.path:
        return f"{a.title}, {a.path}", f"{b.title}, {b.path}"
    return a.title, f"{b.title}, changed"
