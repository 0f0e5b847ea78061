"""Try a change: what the report page reckons with, and the same change made to a setup."""

from __future__ import annotations

from dataclasses import replace

from lightdose.files.writing import csv_text, file_names
from lightdose.model.changes import TryChange, TryFixture, TryRow, TrySettings
from lightdose.model.fixture import Programme
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import Setup
from lightdose.physics.programme import leading_channel, tried_channels, tried_programme

MOST_ROWS = 200
"""Places that a page reckons anew at every touch; corals come before empty sites. Our choice."""


def try_change(analysis: Analysis) -> TryChange:
    """Everything that "try a change" needs of a setup and its light."""
    fixtures = analysis.setup.lit_fixtures
    channel_dli = analysis.dose.dli_by_channel.sum(axis=0)
    channels = tried_channels(fixtures, channel_dli)
    lead = leading_channel(channels, channel_dli)
    plateau_h = 0.0
    if lead is not None:
        first, last = channels[lead].top
        plateau_h = float(channels[lead].time_h[last] - channels[lead].time_h[first])
    every = _rows(analysis)
    rows = every if len(every) <= MOST_ROWS else [r for r in every if r.coral is not None][:MOST_ROWS]
    used = sorted({r.receiver for r in rows})
    return TryChange(
        channels=channels,
        fixtures=_fixtures(analysis.setup),
        rows=tuple(replace(r, receiver=used.index(r.receiver)) for r in rows),
        response=analysis.light_field.of("ppfd")[used],
        leading=lead,
        plateau_h=plateau_h,
        left_out=len(every) - len(rows),
    )


def changed_setup(setup: Setup, record: TryChange, settings: TrySettings) -> Setup:
    """The setup with the programmes that the settings give; ``analyse`` tells what they do."""
    more_h = settings.plateau_h - record.plateau_h
    programmes: dict[str, Programme] = {}
    for fixture in record.fixtures:
        span = range(fixture.first_channel, fixture.first_channel + fixture.channel_count)
        tried = {
            record.channels[i].channel: tried_programme(
                record.channels[i], settings.levels[i], settings.all_channels, more_h
            )
            for i in span
        }
        programmes[fixture.name] = Programme({name: p for name, p in tried.items() if p is not None})
    return replace(
        setup,
        fixtures=tuple(
            replace(f, programme=programmes[f.name]) if f.name in programmes else f for f in setup.fixtures
        ),
    )


def _fixtures(setup: Setup) -> tuple[TryFixture, ...]:
    lit = setup.lit_fixtures
    counts = [len(f.type.channels) for f in lit]
    first = [sum(counts[:i]) for i in range(len(counts))]
    files = file_names([f"tried {f.name}" for f in lit], ".csv")
    return tuple(
        TryFixture(f.name, at, n, csv_text(["time", *(c.name for c in f.type.channels)], []), file)
        for f, at, n, file in zip(lit, first, counts, files, strict=True)
    )


def _rows(analysis: Analysis) -> list[TryRow]:
    """Every coral and every site without corals, each with its receiver in the light field."""
    rows = []
    for index, (site, verdicts) in enumerate(analysis.verdicts_by_site().items()):
        if not verdicts:
            rows.append(_row(analysis, site, index, None))
        rows.extend(_row(analysis, site, verdict.receiver, verdict) for verdict in verdicts)
    return rows


def _row(analysis: Analysis, site: str, receiver: int, verdict: Verdict | None) -> TryRow:
    dose = analysis.dose
    return TryRow(
        coral=verdict.coral if verdict else None,
        site=site,
        receiver=receiver,
        group_name=verdict.group_name if verdict else "",
        band_dli=verdict.band_dli if verdict else None,
        floor_dli=verdict.floor_dli if verdict else None,
        ceiling_dli=verdict.ceiling_dli if verdict else None,
        peak_high=verdict.band_peak[1] if verdict and verdict.band_peak else None,
        dli_mol_m2_d=float(dose.dli[receiver]),
        peak_ppfd_umol_m2_s=float(dose.peak_ppfd[receiver]),
        brightest_hour_ppfd_umol_m2_s=float(dose.brightest_hour_ppfd[receiver]),
        dli_state=verdict.dli_state if verdict else None,
    )
