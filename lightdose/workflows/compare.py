"""Two setups beside one another, and what places get beside how they look."""

from __future__ import annotations

from collections.abc import Sequence

from lightdose.analysis import channel_spectra, judged_under, light_of, site_days, site_spectra
from lightdose.files.library import read_emitter, reference_tables
from lightdose.judge.comparison import RatioDraws, Side, compare_analyses, same_light_field
from lightdose.model.comparison import Compared, Comparison, LooksAndGets, SiteComparison
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis
from lightdose.model.setup import Setup
from lightdose.physics import spectrum_metrics
from lightdose.physics.emission import TRISTIMULUS_WEIGHTINGS

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
    shared = same_light_field(a, b)
    draws = RatioDraws({}, {})
    before = judged_under(a, *light, certainty=certainty, see=draws.see_before if shared else None)
    if shared:
        ready, field = light
        light = ready.running(b.lit_fixtures), field
    else:
        light = light_of(b, TRISTIMULUS_WEIGHTINGS)
    after = judged_under(b, *light, certainty=certainty, see=draws.see_after if shared else None)
    one, other = (Side(x, _looks(x, seen)) for x in (before, after))
    return compare_analyses(one, other, names or _titles(a, b), draws.ratio if shared else None)


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
