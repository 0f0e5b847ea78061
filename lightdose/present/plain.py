"""The answer for pipes: one record a line, fields parted by tabs, never wrapped, no escape byte."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lightdose.model.results import Analysis, FixtureUse, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.present.certainty_words import interval_text, verdict_words
from lightdose.present.labels import (
    DLI_UNIT,
    PPFD_UNIT,
    hours,
    length,
    literal,
    number,
    percent,
    range_text,
)
from lightdose.present.saturation_words import saturation_fields
from lightdose.present.summary import closing_line, is_safety, summary_sentences, worst_first
from lightdose.quantities import BANDS


def dose_lines(analysis: Analysis, unit: LengthUnit, explained: Iterable[str] = ()) -> Iterator[str]:
    """Every line of `dose` in its order: basis, summary, corals, sites, fixtures, cautions, verdict.

    ``explained`` stands before the verdict.
    """
    yield literal(analysis.basis.sentence)
    yield from summary_sentences(analysis)
    for verdict in worst_first(analysis.verdicts):
        yield _record(coral_fields(analysis, verdict, unit))
    for index in range(len(analysis.setup.sites)):
        yield _record(site_fields(analysis, index, unit))
    for use in analysis.fixtures:
        yield _record(fixture_fields(use))
    for caution in analysis.cautions:
        kind = "safety" if is_safety(caution) else "caution"
        yield _record([f"{kind} {caution.text}", f"source {caution.source}"])
    yield from map(literal, explained)
    yield closing_line(analysis)


def _record(fields: list[str]) -> str:
    return "\t".join(literal(field) for field in fields)


def coral_fields(analysis: Analysis, verdict: Verdict, unit: LengthUnit) -> list[str]:
    """One coral's record as "key value" fields."""
    receiver = analysis.light_field.receivers[verdict.receiver]
    fields = [
        f"coral {verdict.coral}",
        f"DLI {number(verdict.dli_mol_m2_d)} {DLI_UNIT}",
        verdict_words(verdict),
    ]
    if verdict.certainty is not None:
        fields.append(f"95 % {interval_text(verdict.certainty.interval_dli)} {DLI_UNIT}")
    if verdict.band_dli is not None:
        fields.append(f"usual {range_text(*verdict.band_dli)} {DLI_UNIT}")
    high = " (high)" if verdict.peak_state == "high" else ""
    fields += [
        f"peak {number(verdict.peak_ppfd_umol_m2_s)} {PPFD_UNIT}{high}",
        f"lit {hours(float(analysis.dose.photoperiod_h[verdict.receiver]))} h",
        f"site {verdict.site}",
        f"x {length(receiver.x_m, unit)} {unit}",
        f"y {length(receiver.y_m, unit)} {unit}",
        f"depth {length(verdict.judged_at_depth_m, unit)} {unit}",
        f"group {verdict.group_name}",
        f"grade {verdict.grade}",
        *saturation_fields(analysis.setup.groups[verdict.group], verdict),
    ]
    return [*fields, f"advice {verdict.advice}"] if verdict.advice else fields


def site_fields(analysis: Analysis, index: int, unit: LengthUnit) -> list[str]:
    """One site's record: how much light, how long, of what colour."""
    site, dose = analysis.setup.sites[index], analysis.dose
    fields = [
        f"site {site.name}",
        f"DLI {number(float(dose.dli[index]))} {DLI_UNIT}",
        *_interval(analysis, index),
        f"peak {number(float(dose.peak_ppfd[index]))} {PPFD_UNIT}",
        f"lux at peak {number(float(dose.lux_at_peak[index]))} lx",
        f"lit {hours(float(dose.photoperiod_h[index]))} h",
        f"any light {hours(float(dose.any_light_h[index]))} h",
    ]
    share = analysis.usable_fraction(index)
    if share is not None:
        bands = analysis.band_fraction(index)
        fields += [
            f"full hours {hours(float(dose.peak_equivalent_h[index]))} h",
            *(f"{band.name} {percent(bands[band.key])}" for band in BANDS),
            f"absorption index {share.default:.2f} ({share.low:.2f}-{share.high:.2f}), not growth",
        ]
    return [
        *fields,
        f"x {length(site.x_m, unit)} {unit}",
        f"y {length(site.y_m, unit)} {unit}",
        f"depth {length(site.depth_m, unit)} {unit}",
    ]


def _interval(analysis: Analysis, receiver: int) -> list[str]:
    known = analysis.uncertainty
    if known is None:
        return []
    low, high = known.dli[receiver]
    return [f"95 % {interval_text((float(low), float(high)))} {DLI_UNIT}"]


def fixture_fields(use: FixtureUse) -> list[str]:
    """One fixture's record; what its file does not say is left out."""
    fields = [f"fixture {use.fixture}"]
    if use.energy_kwh_d is None:
        return [*fields, "energy not known: its file gives no electrical_w"]
    fields.append(f"energy {number(use.energy_kwh_d)} kWh/day")
    if use.cost_per_year is not None:
        fields.append(f"cost {number(use.cost_per_year)} {use.currency}/year")
    if use.photon_efficacy_umol_j is not None:
        fields.append(f"efficacy {number(use.photon_efficacy_umol_j)} umol/J")
    return fields
