"""Two analyses beside one another: what differs, every site and coral, and each change split into factors."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any, NamedTuple, TypeVar

import numpy as np

from lightdose.model.comparison import (
    Comparison,
    CoralComparison,
    LooksAndGets,
    OnlyIn,
    PlaceChange,
    PlaceLight,
    RunningCost,
    SiteComparison,
    Split,
)
from lightdose.model.fixture import Fixture, Programme
from lightdose.model.record import FloatArray, dataclass, quantiles
from lightdose.model.results import USABLE_KEYS, Analysis, Caution, FixtureUse, Interval, Span
from lightdose.model.setup import Coral, LengthUnit, Setup, Site, Water
from lightdose.quantities import METRES_PER_INCH

_NAMED_AT_MOST = 6
_LEVELS_NAMED = 3
_Placed = TypeVar("_Placed", Site, Coral)


def same_light_field(a: Setup, b: Setup) -> bool:
    """Whether two setups differ in nothing but programmes, corals' names and what is judged.

    Then light at every receiver at full output is the same, and so is how well it is known.
    """
    return a.receivers == b.receivers and same_lit_tank(a, b)


def same_lit_tank(a: Setup, b: Setup) -> bool:
    """Whether light at any one place at full output is the same under both, and as well known."""
    return (
        _same(_hung(a), _hung(b))
        and all(_same(getattr(a, k), getattr(b, k)) for k in ("tank", "water", "cover", "calibration"))
        and _same(a.standing, b.standing)
        and dict(a.uncertainty) == dict(b.uncertainty)
    )


def same_lamps(a: Setup, b: Setup) -> bool:
    """Whether the same lamps shine over both, wherever they hang: what is not known of them is common."""
    types = ([f.type for f in side.lit_fixtures] for side in (a, b))
    return _same(*types) and _same(a.calibration, b.calibration)


def same_calibration(a: Setup, b: Setup) -> bool:
    """Whether the same readings tell what both give, or none do."""
    return _same(a.calibration, b.calibration)


def same_setup(a: Setup, b: Setup) -> bool:
    """Whether two setups read alike in all that counts for light, verdicts and cost, wherever they stand."""
    parts = ("lit_fixtures", "tank", "water", "cover", "sites", "corals", "unplaced", "groups", "calibration")
    further = ("rocks", "braces", "uncertainty", "electricity")
    return all(_same(getattr(a, k), getattr(b, k)) for k in (*parts, *further))


def setup_differences(a: Setup, b: Setup, *, over_time: bool = False) -> tuple[str, ...]:
    """What differs from A to B, a phrase each; sites and corals that only one has are told elsewhere.

    Parameters
    ----------
    a, b : Setup
    over_time : A is the same tank before: programmes and water are told in figures, corals are left out

    Returns
    -------
    tuple of str
        "left hangs 25 cm above the water instead of 20 cm", "left runs another programme".
    """
    unit = a.length_unit
    here, there = ({f.name: f for f in s.lit_fixtures} for s in (a, b))
    found = [*_only_in_one("fixture", here, there, OVER_TIME if over_time else BESIDE)]
    tell = programme_change if over_time else _programme_change
    changes = [(n, _fixture_changes(here[n], there[n], unit, tell)) for n in here if n in there]
    said = dict.fromkeys(phrase for _, phrases in changes for phrase in phrases)
    found += [f"{_names([n for n, phrases in changes if phrase in phrases])}: {phrase}" for phrase in said]
    water = water_change(a.water, b.water) if over_time else "another water"
    words = {"tank": "another tank", "water": water, "cover": "another cover"}
    words |= {"rocks": "other rock", "braces": "other braces"}
    found += [phrase for what, phrase in words.items() if _differs(a, b, what)]
    if _differs(a, b, "calibration"):
        one_only = "calibrated" if over_time and b.calibration else "calibrated in one only"
        found.append("another calibration" if a.calibration and b.calibration else one_only)
    found += _moved("site", {s.name: s for s in a.sites}, {s.name: s for s in b.sites}, _site_differs)
    if not over_time:
        own, other = ({c.name: c for c in side.corals} for side in (a, b))
        found += _moved("coral", own, other, _coral_differs)
    return tuple(found)


def coral_differences(a: Setup, b: Setup) -> tuple[str, ...]:
    """Corals that went, came or moved from A, the same tank before, to B.

    Source
    ------
    Names and places as stated; nothing is computed.
    """
    own, other = ({c.name: c for c in side.corals} for side in (a, b))
    return (*_only_in_one("coral", own, other, OVER_TIME), *_moves(own, other))


def _hung(setup: Setup) -> list[dict[str, Any]]:
    """Every lit fixture without its programme."""
    return [
        {f.name: getattr(fixture, f.name) for f in dataclasses.fields(fixture) if f.name != "programme"}
        for fixture in setup.lit_fixtures
    ]


def _differs(a: Setup, b: Setup, what: str) -> bool:
    return not _same(getattr(a, what), getattr(b, what))


def _fixture_changes(
    a: Fixture, b: Fixture, unit: LengthUnit, tell: Callable[[Programme, Programme], str]
) -> list[str]:
    phrases = []
    if not _same(a.type, b.type):
        phrases.append(
            f"{b.type.name!r} instead of {a.type.name!r}" if a.type.name != b.type.name else "altered file"
        )
    if a.height_m != b.height_m:
        phrases.append(f"{_length(b.height_m, unit)} above the water instead of {_length(a.height_m, unit)}")
    if (a.x_m, a.y_m, a.rotation_deg) != (b.x_m, b.y_m, b.rotation_deg):
        phrases.append("hung elsewhere")
    if a.output_scale != b.output_scale:
        phrases.append(f"output scale {b.output_scale:g} instead of {a.output_scale:g}")
    if not _same(a.programme.channels, b.programme.channels):
        phrases.append(tell(a.programme, b.programme))
    return phrases


def _programme_change(a: Programme, b: Programme) -> str:
    """The overall setting, where it alone is another."""
    if a.dial is not None and b.dial is not None and a.dial.plateau > 0:
        now, then = a.dial.plateau, b.dial.plateau
        turned = a.dial.at(then)
        if _same(turned, b.dial) or _same(turned.programme().channels, b.channels):
            return f"overall setting {100 * then:g} % instead of {100 * now:g} %"
    return "another programme"


def programme_change(a: Programme, b: Programme) -> str:
    """What changed in a programme in figures: the overall setting, levels, or hours.

    Source
    ------
    Settings as stated; hours at full levels are the integral of a channel's level over its highest, exact.
    """
    words = _programme_change(a, b)
    if words != "another programme":
        return words
    levels = []
    for name in [*a.channels, *(n for n in b.channels if n not in a.channels)]:
        then, now = (_highest(side, name) for side in (a, b))
        if round(1000 * (then - now)):
            levels.append(f"{name} {100 * now:.3g} % instead of {100 * then:.3g} %")
    more = f" and {len(levels) - _LEVELS_NAMED} more" if len(levels) > _LEVELS_NAMED else ""
    found = [", ".join(levels[:_LEVELS_NAMED]) + more] if levels else []
    if a.dial is not None and b.dial is not None and round(1000 * (a.dial.plateau - b.dial.plateau)):
        found.append(f"overall setting {100 * b.dial.plateau:g} % instead of {100 * a.dial.plateau:g} %")
    longer_h = _full_hours(b) - _full_hours(a)
    if abs(longer_h) >= 0.05:
        found.append(f"{abs(longer_h):.1f} h {'more' if longer_h > 0 else 'less'} at full levels")
    return "; ".join(found) or words


def _highest(programme: Programme, name: str) -> float:
    """A channel's highest level as it is set."""
    if programme.dial is not None and name in programme.dial.levels:
        return float(np.nanmax(programme.dial.levels[name]))
    channel = programme.channels.get(name)
    return 0.0 if channel is None else float(channel.level.max())


def _full_hours(programme: Programme) -> float:
    """Hours at each channel's highest level that give its day, of the channel that has most. [h]"""
    hours = [
        float(np.trapezoid(c.level, c.time_h)) / float(c.level.max())
        for c in programme.channels.values()
        if c.level.max() > 0
    ]
    return max(hours, default=0.0)


def water_change(a: Water, b: Water) -> str:
    """What changed in the water in figures.

    Source
    ------
    As stated; nothing is computed.
    """
    then, now = a.yellowing_440_per_m, b.yellowing_440_per_m
    return f"yellowing {now:g} instead of {then:g} per m" if then != now else "another water"


def _length(metres: float, unit: LengthUnit) -> str:
    return f"{metres * 100:.4g} cm" if unit == "cm" else f"{metres / METRES_PER_INCH:.4g} in"


BESIDE = ("{what} in A only: {names}", "{what} in B only: {names}")
OVER_TIME = ("{what} gone: {names}", "new {what}: {names}")


def _only_in_one(
    what: str, here: Mapping[str, object], there: Mapping[str, object], words: tuple[str, str]
) -> list[str]:
    found = []
    for phrase, own, other in zip(words, (here, there), (there, here), strict=True):
        if names := [n for n in own if n not in other]:
            found.append(phrase.format(what=what + "s" * (len(names) > 1), names=_names(names)))
    return found


def _moves(here: Mapping[str, Coral], there: Mapping[str, Coral]) -> list[str]:
    """Corals at other sites, with both, and those that only stand otherwise there."""
    both = [n for n in here if n in there and _coral_differs(here[n], there[n])]
    moved = [f"{n} from {here[n].site} to {there[n].site}" for n in both if here[n].site != there[n].site]
    turned = [n for n in both if here[n].site == there[n].site]
    return [
        *([f"moved: {_names(moved)}"] if moved else []),
        *([f"placed otherwise: {_names(turned)}"] if turned else []),
    ]


def _moved(
    what: str,
    here: Mapping[str, _Placed],
    there: Mapping[str, _Placed],
    differs: Callable[[_Placed, _Placed], bool],
) -> list[str]:
    names = [n for n in here if n in there and differs(here[n], there[n])]
    return [f"{what}{'s' if len(names) > 1 else ''} placed otherwise: {_names(names)}"] if names else []


def _site_differs(a: Site, b: Site) -> bool:
    return (a.x_m, a.y_m, a.depth_m, a.open_sky) != (b.x_m, b.y_m, b.depth_m, b.open_sky)


def _coral_differs(a: Coral, b: Coral) -> bool:
    return (a.site, a.height_m, a.open_sky) != (b.site, b.height_m, b.open_sky)


def _names(names: list[str]) -> str:
    more = f" and {len(names) - _NAMED_AT_MOST} more" if len(names) > _NAMED_AT_MOST else ""
    return ", ".join(names[:_NAMED_AT_MOST]) + more


def _same(one: object, other: object) -> bool:
    """Whether two records hold the same values, arrays and nested records included, wherever they stood."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")  # type: ignore[arg-type]
    if isinstance(one, Mapping):
        assert isinstance(other, Mapping)
        return list(one) == list(other) and all(_same(one[k], other[k]) for k in one)
    if isinstance(one, list | tuple):
        assert isinstance(other, list | tuple)
        return len(one) == len(other) and all(map(_same, one, other))
    if dataclasses.is_dataclass(one):
        names = [f.name for f in dataclasses.fields(one) if f.name not in ("place", "notes", "file")]
        return all(_same(getattr(one, n), getattr(other, n)) for n in names)
    return one == other


COVERED = (0.025, 0.975)
"""Ends of the intervals: 95 %."""

RATIOS_OPEN = (
    "The light of the two differs in more than its programme, so a ratio has no 95 % range of its own: that "
    "of each dose stands beside it."
)


class Side(NamedTuple):
    """One setup, how each of its receivers looks, and its doses without solids where those differ."""

    analysis: Analysis
    looks: Sequence[LooksAndGets | None]
    open_dli: FloatArray | None = None


@dataclass(frozen=True)
class RatioDraws:
    """Watches the draws of A, then those of B; both from one world, so that what is common cancels.

    Attributes
    ----------
    ratio : receiver -> 95 % interval of B over A; none for a place that A may leave dark
    """

    before: dict[int, FloatArray]
    ratio: dict[int, Interval]

    def see_before(self, receiver: int, dli: FloatArray, _: FloatArray) -> None:
        """Keep a receiver's drawn doses under A; single precision is a thousand times what is needed."""
        self.before[receiver] = dli.astype(np.float32)

    def see_after(self, receiver: int, dli: FloatArray, _: FloatArray) -> None:
        """Set the doses under B, drawn in the same world, over them."""
        own = self.before.pop(receiver)
        if own.min() > 0:
            low, high = quantiles(dli.astype(np.float32) / own, COVERED).tolist()
            self.ratio[receiver] = low, high


def compare_analyses(
    a: Side, b: Side, names: tuple[str, str], ratio: Mapping[int, Interval] | None = None
) -> Comparison:
    """Everything that `compare` reports.

    Parameters
    ----------
    a, b : Side
    names : what the two are called
    ratio : receiver -> 95 % interval of the dose ratio; None where they do not share their light field

    Source
    ------
    Usable dose = peak x equivalent hours x usable fraction: logarithms of ratios add. Exact.
    """
    before, after = a.analysis, b.analysis
    known: Mapping[int, Interval] = {} if ratio is None else ratio
    here, there = ({s.name: row for row, s in enumerate(side.setup.sites)} for side in (before, after))
    own, other = ({v.coral: v for v in side.verdicts} for side in (before, after))
    sites, corals = [], []

    @cache
    def changed(row: int, row_b: int) -> dict[str, Any]:
        """What changes at a place; most corals stand at that of their site."""
        return vars(_change(a, b, (row, row_b), known))

    for name in here:
        if name in there:
            rows = here[name], there[name]
            sites.append(SiteComparison(site=name, a=rows[0], b=rows[1], **changed(*rows)))
    for name, verdict in own.items():
        if name in other:
            change = changed(verdict.receiver, other[name].receiver)
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
        same=same_setup(before.setup, after.setup),
    )


def _change(a: Side, b: Side, rows: tuple[int, int], ratio: Mapping[int, Interval]) -> PlaceChange:
    before, after = place_light(a, rows[0]), place_light(b, rows[1])
    dose = before.dli_mol_m2_d
    parts = split(_factors(a.analysis, rows[0]), _factors(b.analysis, rows[1]))
    if (shade := _ln_shade(a, b, rows, parts.ln_dli)) is not None:
        parts = dataclasses.replace(parts, ln_shade=shade)
    return PlaceChange(
        before,
        after,
        after.dli_mol_m2_d / dose if dose > 0 else None,
        parts,
        ratio.get(rows[0]),
    )


def _ln_shade(a: Side, b: Side, rows: tuple[int, int], ln_dli: float | None) -> float | None:
    """What is left of the change of a dose where that of the tank without solids is taken off."""
    if a.open_dli is None or b.open_dli is None or ln_dli is None:
        return None
    one, other = float(a.open_dli[rows[0]]), float(b.open_dli[rows[1]])
    return ln_dli - math.log(other / one) if one > 0 and other > 0 else None


def same_solids(a: Setup, b: Setup) -> bool:
    """Whether the same rock and colonies stand in both tanks."""
    solids = (side.standing.solids if side.standing else () for side in (a, b))
    return _same(*solids)


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
    """The light of one place."""
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
        return f"Both: {a.basis.sentence[0].lower()}{a.basis.sentence[1:]}"
    return f"A: {a.basis.sentence} B: {b.basis.sentence}"


def _new_cautions(a: Analysis, b: Analysis) -> tuple[Caution, ...]:
    """What B gives cause to say and A does not, or says of others or of other amounts; safety is for both."""
    return tuple(c for c in b.cautions if c not in a.cautions and not c.code.startswith("safety_"))
