"""Tables of the report: every number of `dose`, to the digits that people use."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lightdose.model.arrays import FloatArray
from lightdose.model.coral import CoralGroup
from lightdose.model.fixture import Fixture
from lightdose.model.results import Analysis, DliState, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.present.certainty_words import interval_text, table_words
from lightdose.present.figures.schedule import programme_rows
from lightdose.present.labels import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    count,
    hours,
    length,
    literal,
    number,
    percent,
    range_text,
    typeset,
)
from lightdose.present.looks_words import rounded
from lightdose.present.range_bar import RangeBar, range_bar
from lightdose.present.saturation_words import hours_span, percent_span
from lightdose.present.summary import worst_first
from lightdose.quantities import BANDS

ROWS_AT_MOST: Final = 300
"""Longer lists end here: a page that nobody can scroll helps nobody. `dose --csv` holds all of them."""

NONE: Final = "-"


@dataclass(frozen=True)
class Head:
    """Head of a column; numbers stand to the right."""

    text: str
    unit: str = ""
    number: bool = True


@dataclass(frozen=True)
class PageTable:
    """A table of the page; the first cell of every row is its head."""

    key: str
    caption: str
    heads: tuple[Head, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True)
class CoralRow:
    """One coral of the first table."""

    coral: str
    site: str
    dli: str
    bar: RangeBar | None
    words: str
    usual: str
    interval: str
    peak: str
    lit: str
    group: str
    grade: str
    far: bool


def coral_rows(analysis: Analysis) -> list[CoralRow]:
    """The corals, worst first, those off their range before the others."""
    return [
        CoralRow(
            coral=literal(v.coral),
            site=literal(v.site) if v.site != v.coral else "",
            dli=number(v.dli_mol_m2_d),
            bar=range_bar(v),
            words=table_words(v),
            usual=range_text(*v.band_dli) if v.band_dli else NONE,
            interval=interval_text(v.certainty.interval_dli) if v.certainty else NONE,
            peak=number(v.peak_ppfd_umol_m2_s) + (" (high)" if v.peak_state == "high" else ""),
            lit=hours(float(analysis.dose.photoperiod_h[v.receiver])),
            group=literal(v.group_name),
            grade=v.grade,
            far=v.likely_state in ("far_below", "far_above"),
        )
        for v in worst_first(analysis.verdicts)[:ROWS_AT_MOST]
    ]


def left_out_note(total: int, what: str) -> str:
    """What a cut list says; empty where it is whole."""
    if total <= ROWS_AT_MOST:
        return ""
    return f"{count(total - ROWS_AT_MOST, f'more {what}')}: lightdose dose --csv lists all of them."


def limits_table(analysis: Analysis, unit: LengthUnit) -> PageTable:
    """Floors, ceilings and the midday band beside each coral's light."""
    rows = tuple(
        (
            literal(v.coral),
            length(v.judged_at_depth_m, unit),
            number(v.dli_mol_m2_d),
            _edge(v.floor_dli),
            range_text(*v.band_dli) if v.band_dli else NONE,
            _edge(v.ceiling_dli),
            number(v.brightest_hour_ppfd_umol_m2_s),
            range_text(*v.band_peak) if v.band_peak else NONE,
            v.peak_state or NONE,
        )
        for v in _first(analysis)
    )
    return PageTable(
        "table-limits",
        "Each coral against floor, usual range and ceiling",
        (
            Head("Coral", number=False),
            Head("judged at depth", unit),
            Head("DLI", DLI_UNIT_TYPESET),
            Head("floor", DLI_UNIT_TYPESET),
            Head("usual", DLI_UNIT_TYPESET),
            Head("ceiling", DLI_UNIT_TYPESET),
            Head("brightest hour", PPFD_UNIT_TYPESET),
            Head("usual at midday", PPFD_UNIT_TYPESET),
            Head("the peak is", number=False),
        ),
        rows,
        "Under the floor is far below usual, over the ceiling far above. The dose leads: only a high peak is "
        "spoken of, for a dim long day is fine. " + left_out_note(len(analysis.verdicts), "coral"),
    )


def certainty_table(analysis: Analysis) -> PageTable | None:
    """How likely each state is, and which reading would tell; None where nothing was drawn."""
    if analysis.uncertainty is None or not analysis.verdicts:
        return None
    states: tuple[DliState, ...] = ("far_below", "below", "within", "above", "far_above")
    rows = []
    for v in _first(analysis):
        known = v.certainty
        if known is None or v.dli_state == "not_judged":
            rows.append((literal(v.coral), *[NONE] * (len(states) + 3)))
            continue
        reading = NONE
        if known.reading_at is not None:
            reading = f"{literal(known.reading_at)}, settles {percent(known.reading_settles or 0.0)}"
        rows.append(
            (
                literal(v.coral),
                *(percent(known.probability.get(state, 0.0)) for state in states),
                interval_text(known.interval_dli),
                interval_text(known.interval_peak),
                reading,
            )
        )
    return PageTable(
        "table-certainty",
        "How likely each coral's dose lies where, and the reading that would tell",
        (
            Head("Coral", number=False),
            *(Head(state.replace("_", " ")) for state in states),
            Head("DLI, 95 %", DLI_UNIT_TYPESET),
            Head("peak, 95 %", PPFD_UNIT_TYPESET),
            Head("reading at", number=False),
        ),
        tuple(rows),
    )


def amount_table(analysis: Analysis, unit: LengthUnit) -> PageTable:
    """How much light each site gets and for how long, brightest first."""
    dose, known = analysis.dose, analysis.uncertainty
    rows = []
    for i in _brightest(analysis):
        site = analysis.setup.sites[i]
        rows.append(
            (
                literal(site.name),
                number(float(dose.dli[i])),
                _interval(known.dli[i]) if known else NONE,
                number(float(dose.peak_ppfd[i])),
                _interval(known.peak_ppfd[i]) if known else NONE,
                rounded(float(dose.lux_at_peak[i])),
                hours(float(dose.peak_equivalent_h[i])),
                hours(float(dose.photoperiod_h[i])),
                hours(float(dose.any_light_h[i])),
                ", ".join(length(m, unit) for m in (site.x_m, site.y_m, site.depth_m)),
                f"{site.open_sky:g}",
            )
        )
    return PageTable(
        "table-sites",
        "Light at each site, brightest first",
        (
            Head("Site", number=False),
            Head("DLI", DLI_UNIT_TYPESET),
            Head("95 %", DLI_UNIT_TYPESET),
            Head("peak", PPFD_UNIT_TYPESET),
            Head("95 %", PPFD_UNIT_TYPESET),
            Head("lux at peak", "lx"),
            Head("full hours", "h"),
            Head("lit", "h"),
            Head("any light", "h"),
            Head("x, y, depth", unit),
            Head("open sky"),
        ),
        tuple(rows),
        "Full hours: hours at the peak that would give the same dose. Lit: time above 5 % of the peak. "
        + left_out_note(len(analysis.setup.sites), "site"),
    )


def colour_table(analysis: Analysis) -> PageTable:
    """Of what colour the light of each site is."""
    rows = []
    for i in _brightest(analysis):
        bands, usable = analysis.band_dose_mol_m2_d(i), analysis.usable_dose_mol_m2_d(i)
        share, shares = analysis.usable_fraction(i), analysis.band_fraction(i)
        lit = float(analysis.dose.dli[i]) > 0
        colours = "/".join(f"{100 * shares[k]:.0f}" for k in ("blue", "green", "red")) if lit else NONE
        rows.append(
            (
                literal(analysis.setup.sites[i].name),
                colours,
                *(number(bands[band.key]) for band in BANDS),
                f"{share.default:.2f} ({share.low:.2f}-{share.high:.2f})" if share else NONE,
                f"{number(usable.default)} ({number(usable.low)}-{number(usable.high)})",
            )
        )
    return PageTable(
        "table-colour",
        "Of what colour: photons of the day in each band",
        (
            Head("Site", number=False),
            Head("blue/green/red", "% of DLI"),
            *(Head(f"{band.name} {band.low_nm:g}-{band.high_nm:g}", DLI_UNIT_TYPESET) for band in BANDS),
            Head("absorption index (range)"),
            Head("absorbable dose (range)", DLI_UNIT_TYPESET),
        ),
        tuple(rows),
        "Absorption index: share of the photons of 400-700 nm that zooxanthellae can absorb, by curve z1, "
        "with the span of four curves modelled by us; it is not growth.",
    )


def channel_table(analysis: Analysis, key: str, caption: str, values: FloatArray, unit: str) -> PageTable:
    """One number a site and channel, such as PPFD at full output; ``values`` has one row a receiver."""
    several = len(analysis.setup.lit_fixtures) > 1
    heads = [
        Head(f"{literal(c.fixture)}: {literal(c.channel)}" if several else literal(c.channel), unit)
        for c in analysis.light_field.channels
    ]
    rows = tuple(
        (literal(analysis.setup.sites[i].name), *(number(float(v)) for v in values[i]))
        for i in _brightest(analysis)
    )
    return PageTable(key, caption, (Head("Site", number=False), *heads), rows)


def _ek_stands_on(group: CoralGroup) -> str:
    fit = "" if group.ek_model == "tanh" else f"; of a {group.ek_model.title()} fit"
    return f"{group.ek_source.replace(' [C]', '')}{fit}"


def photosynthesis_table(analysis: Analysis) -> PageTable:
    """What photosynthesis makes of the day, over each group's range of Ek."""
    groups = analysis.setup.groups
    rows = []
    for v in _first(analysis):
        group = groups.get(v.group)
        ek = group.ek_range if group else None
        beyond = v.photons_beyond_saturation_fraction
        rows.append(
            (
                literal(v.coral),
                range_text(*ek) if ek else NONE,
                _pair(v.hours_at_pmax_h),
                _pair(v.hours_above_saturation_h),
                f"{percent_span(beyond)} %" if beyond else NONE,
                literal(_ek_stands_on(group)) if group and ek else NONE,
            )
        )
    return PageTable(
        "table-photosynthesis",
        "Photosynthesis over each group's range of Ek",
        (
            Head("Coral", number=False),
            Head("Ek", PPFD_UNIT_TYPESET),
            Head("hours at full rate", "h"),
            Head("hours above saturation", "h"),
            Head("photons beyond it", "of the DLI"),
            Head("Ek stands on", number=False),
        ),
        tuple(rows),
        "Ek is the light at which photosynthesis begins to saturate, a range and never a constant of a "
        "species. Hours at full rate: hours at the highest rate that would give the day's gross "
        "photosynthesis, by tanh; where Ek is of a Smith fit, tanh gives a little more than that curve.",
    )


def programme_table(fixture: Fixture, index: int) -> PageTable:
    """A fixture's programme, point by point."""
    rows = programme_rows(fixture)
    heads = (Head("Time", number=False), *(Head(literal(c.name), "%") for c in fixture.type.channels))
    more = len(rows) - ROWS_AT_MOST
    return PageTable(
        f"table-programme-{index}",
        f"Programme of {literal(fixture.name)}",
        heads,
        tuple((row.time, *row.percents) for row in rows[:ROWS_AT_MOST]),
        f"{count(more, 'more row')}: lightdose dose --csv-schedule writes all of them." if more > 0 else "",
    )


def energy_table(analysis: Analysis) -> PageTable:
    """Electricity of each fixture."""
    rows = tuple(
        (
            literal(use.fixture),
            NONE if use.energy_kwh_d is None else number(use.energy_kwh_d),
            NONE
            if use.cost_per_year is None
            else f"{number(use.cost_per_year)} {literal(use.currency or '')}",
            NONE if use.photon_efficacy_umol_j is None else number(use.photon_efficacy_umol_j),
        )
        for use in analysis.fixtures
    )
    return PageTable(
        "table-energy",
        "Electricity of each fixture",
        (
            Head("Fixture", number=False),
            Head("energy", "kWh d⁻¹"),
            Head("cost", "a year"),
            Head("photons 400-700 nm", "µmol J⁻¹"),
        ),
        rows,
        "A dash stands where the fixture's file names no power, or the setup no price.",
    )


def group_table(analysis: Analysis) -> PageTable:
    """The usual light of the groups here, with grade and sources."""
    keys = dict.fromkeys(v.group for v in worst_first(analysis.verdicts))
    rows = []
    for key in keys:
        group = analysis.setup.groups[key]
        rows.append(
            (
                literal(group.name),
                range_text(*group.band_dli) if group.band_dli else "not judged by light",
                range_text(*group.band_peak) if group.band_peak else NONE,
                _edge(group.floor_dli),
                _edge(group.ceiling_dli),
                group.grade,
                typeset("; ".join(literal(t) for t in (group.note, group.floor_harm) if t)) or NONE,
                ", ".join(literal(s) for s in group.sources) or NONE,
            )
        )
    return PageTable(
        "table-groups",
        "Usual light of the groups here",
        (
            Head("Group", number=False),
            Head("usual DLI", DLI_UNIT_TYPESET),
            Head("midday PPFD", PPFD_UNIT_TYPESET),
            Head("floor", DLI_UNIT_TYPESET),
            Head("ceiling", DLI_UNIT_TYPESET),
            Head("grade", number=False),
            Head("what bears on it", number=False),
            Head("sources", number=False),
        ),
        tuple(rows),
    )


def inputs_table(analysis: Analysis) -> PageTable | None:
    """What is not known exactly, and how well it is known."""
    known = analysis.uncertainty
    if known is None:
        return None
    return PageTable(
        "table-inputs",
        "What was drawn: one standard uncertainty each, where nothing else is said",
        (
            Head("Input", number=False),
            Head("known to", number=False),
            Head("on whose word", number=False),
        ),
        tuple((literal(i.what), literal(i.spread), literal(i.origin)) for i in known.inputs),
    )


def _first(analysis: Analysis) -> list[Verdict]:
    return worst_first(analysis.verdicts)[:ROWS_AT_MOST]


def _brightest(analysis: Analysis) -> list[int]:
    sites = range(len(analysis.setup.sites))
    return sorted(sites, key=lambda i: -float(analysis.dose.dli[i]))[:ROWS_AT_MOST]


def _edge(value: float | None) -> str:
    return NONE if value is None else f"{value:g}"


def _pair(ends: tuple[float, float] | None) -> str:
    return NONE if ends is None else hours_span(ends)


def _interval(ends: FloatArray) -> str:
    return interval_text((float(ends[0]), float(ends[1])))
