"""Two analyses beside one another: every site and coral, and its change split into factors."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import NamedTuple

import numpy as np

from lightdose.judge.setup_differences import setup_differences
from lightdose.model.appearance import LooksAndGets
from lightdose.model.arrays import FloatArray
from lightdose.model.certainty import Interval
from lightdose.model.comparison import (
    Comparison,
    CoralComparison,
    OnlyIn,
    PlaceChange,
    PlaceLight,
    RunningCost,
    SiteComparison,
    Split,
)
from lightdose.model.record import dataclass
from lightdose.model.results import USABLE_KEYS, Analysis, Caution, FixtureUse, Span

COVERED = (0.025, 0.975)
"""Ends of the intervals: 95 %."""

RATIOS_OPEN = (
    "The light of the two differs in more than its programme, so a ratio has no 95 % range of its own: that "
    "of each dose stands beside it."
)


class Side(NamedTuple):
    """One setup, and how each of its receivers looks."""

    analysis: Analysis
    looks: Sequence[LooksAndGets | None]


@dataclass(frozen=True)
class RatioDraws:
    """Watches the draws of A, then those of B; both from one world, so that what is common cancels.

    Attributes
    ----------
    ratio : receiver -> 95 % interval of B over A; none for a place that A may leave dark
    """

    before: dict[int, FloatArray]
    ratio: dict[int, Interval]

    def see_before(self, receiver: int, dli: FloatArray) -> None:
        """Keep a receiver's drawn doses under A; single precision is a thousand times what is needed."""
        self.before[receiver] = dli.astype(np.float32)

    def see_after(self, receiver: int, dli: FloatArray) -> None:
        """Set the doses under B, drawn in the same world, over them."""
        own = self.before.pop(receiver)
        if own.min() > 0:
            low, high = np.quantile(dli.astype(np.float32) / own, COVERED)
            self.ratio[receiver] = float(low), float(high)


def compare_analyses(
    a: Side, b: Side, names: tuple[str, str], ratio: Mapping[int, Interval] | None = None
) -> Comparison:
    """Everything that `compare` reports.

    Parameters
    ----------
    a, b : Side
    names : what the two are called
    ratio : receiver -> 95 % interval of the dose ratio; None where they do not share their light field

    Returns
    -------
    Comparison

    Source
    ------
    Usable dose = peak x equivalent hours x usable fraction: logarithms of ratios add. Exact.
    """
    before, after = a.analysis, b.analysis
    known: Mapping[int, Interval] = {} if ratio is None else ratio
    here, there = ({s.name: row for row, s in enumerate(side.setup.sites)} for side in (before, after))
    own, other = ({v.coral: v for v in side.verdicts} for side in (before, after))
    sites, corals = [], []
    for name in here:
        if name in there:
            rows = here[name], there[name]
            sites.append(SiteComparison(site=name, a=rows[0], b=rows[1], **vars(_change(a, b, rows, known))))
    for name, verdict in own.items():
        if name in other:
            rows = verdict.receiver, other[name].receiver
            change = vars(_change(a, b, rows, known))
            corals.append(
                CoralComparison(coral=name, verdict_before=verdict, verdict_after=other[name], **change)
            )
    return Comparison(
        before=before,
        after=after,
        names=names,
        basis_sentence=_basis(before, after),
        differences=setup_differences(before.setup, after.setup),
        sites=tuple(sites),
        corals=tuple(corals),
        only=(_only(here, there, own, other), _only(there, here, other, own)),
        running=(running_cost(before.fixtures), running_cost(after.fixtures)),
        cautions=_new_cautions(before, after),
        notes=(RATIOS_OPEN,) if sites and before.uncertainty and ratio is None else (),
    )


def _change(a: Side, b: Side, rows: tuple[int, int], ratio: Mapping[int, Interval]) -> PlaceChange:
    before, after = place_light(a, rows[0]), place_light(b, rows[1])
    dose = before.dli_mol_m2_d
    return PlaceChange(
        before,
        after,
        after.dli_mol_m2_d / dose if dose > 0 else None,
        split(_factors(a.analysis, rows[0]), _factors(b.analysis, rows[1])),
        ratio.get(rows[0]),
    )


@dataclass(frozen=True)
class Factors:
    """What multiplies to a usable dose: peak x hours x 0.0036 x usable fraction.

    Attributes
    ----------
    usable : doses by each absorption curve, the default first. [mol m-2 d-1]
    """

    dli_mol_m2_d: float
    peak_ppfd_umol_m2_s: float
    peak_equivalent_h: float
    usable: tuple[float, ...]


def split(a: Factors, b: Factors) -> Split:
    """The change from A to B as logarithms that add.

    Parameters
    ----------
    a, b : Factors

    Returns
    -------
    Split
        Without any figure where one of the doses is 0.

    Source
    ------
    ln(B/A) of peak, of peak-equivalent hours and of usable fractions; ln_colour spans the ratios by each
    curve, which for equal light is exactly nothing.
    """
    if not all(x > 0 for f in (a, b) for x in (f.dli_mol_m2_d, f.peak_ppfd_umol_m2_s)):
        return Split()
    ln_dli, ln_intensity, ln_time = (
        math.log(y) - math.log(x)
        for x, y in (
            (a.dli_mol_m2_d, b.dli_mol_m2_d),
            (a.peak_ppfd_umol_m2_s, b.peak_ppfd_umol_m2_s),
            (a.peak_equivalent_h, b.peak_equivalent_h),
        )
    )
    if not all(x > 0 for x in (*a.usable, *b.usable)):
        return Split(ln_dli, None, ln_intensity, ln_time)
    totals = [math.log(y) - math.log(x) for x, y in zip(a.usable, b.usable, strict=True)]
    colours = [total - ln_dli for total in totals]
    return Split(ln_dli, totals[0], ln_intensity, ln_time, Span(colours[0], min(colours), max(colours)))


def _factors(analysis: Analysis, receiver: int) -> Factors:
    dose, keys = analysis.dose, analysis.light_field.weightings
    return Factors(
        float(dose.dli[receiver]),
        float(dose.peak_ppfd[receiver]),
        float(dose.peak_equivalent_h[receiver]),
        tuple(float(dose.weighted[receiver, keys.index(key)]) for key in USABLE_KEYS),
    )


def place_light(side: Side, receiver: int) -> PlaceLight:
    """The light of one place.

    Parameters
    ----------
    side : Side
    receiver : its row in the light field

    Returns
    -------
    PlaceLight

    Source
    ------
    The record of `dose`.
    """
    analysis, dose = side.analysis, side.analysis.dose
    hours = float(dose.peak_equivalent_h[receiver])
    known = analysis.uncertainty
    return PlaceLight(
        dli_mol_m2_d=float(dose.dli[receiver]),
        peak_ppfd_umol_m2_s=float(dose.peak_ppfd[receiver]),
        photoperiod_h=float(dose.photoperiod_h[receiver]),
        any_light_h=float(dose.any_light_h[receiver]),
        peak_equivalent_h=hours if math.isfinite(hours) else None,
        lux_at_peak=float(dose.lux_at_peak[receiver]),
        band_dose_mol_m2_d=analysis.band_dose_mol_m2_d(receiver),
        usable_dose_mol_m2_d=analysis.usable_dose_mol_m2_d(receiver),
        usable_fraction=analysis.usable_fraction(receiver),
        looks=side.looks[receiver],
        interval_dli=_pair(known.dli[receiver]) if known else None,
        interval_peak=_pair(known.peak_ppfd[receiver]) if known else None,
    )


def _pair(ends: FloatArray) -> Interval:
    return float(ends[0]), float(ends[1])


def running_cost(uses: Sequence[FixtureUse]) -> RunningCost:
    """The electricity of all fixtures of a setup.

    Parameters
    ----------
    uses : one a lit fixture

    Returns
    -------
    RunningCost
        A figure is None as soon as one fixture lacks it; 0 energy without fixtures.

    Source
    ------
    Sums; efficacy is photons over energy of all.
    """
    energy = [u.energy_kwh_d for u in uses if u.energy_kwh_d is not None]
    costs = [u.cost_per_year for u in uses if u.cost_per_year is not None]
    total = sum(energy) if len(energy) == len(uses) else None
    lit = [u for u in uses if u.energy_kwh_d]
    photons = [
        u.photon_efficacy_umol_j * u.energy_kwh_d
        for u in lit
        if u.photon_efficacy_umol_j is not None and u.energy_kwh_d is not None
    ]
    return RunningCost(
        energy_kwh_d=total,
        cost_per_year=sum(costs) if costs and len(costs) == len(uses) else None,
        currency=next((u.currency for u in uses), None),
        photon_efficacy_umol_j=sum(photons) / total if total and len(photons) == len(lit) else None,
    )


def _only(
    sites: Mapping[str, object],
    other_sites: Mapping[str, object],
    corals: Mapping[str, object],
    others: Mapping[str, object],
) -> OnlyIn:
    return OnlyIn(
        tuple(n for n in sites if n not in other_sites), tuple(n for n in corals if n not in others)
    )


def _basis(a: Analysis, b: Analysis) -> str:
    if a.basis.sentence == b.basis.sentence:
        return f"Both: {a.basis.sentence}"
    return f"A: {a.basis.sentence} B: {b.basis.sentence}"


def _new_cautions(a: Analysis, b: Analysis) -> tuple[Caution, ...]:
    """What B gives cause to say that A does not; lines on safety go with every answer all the same."""
    known = {(c.code, c.text) for c in a.cautions}
    return tuple(c for c in b.cautions if (c.code, c.text) not in known and not c.code.startswith("safety_"))
