"""`meter` and `calibrate` in words: gains with their intervals, readings beside the model, what is tied."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from typing import TextIO

from lightdose.model.calibration import UNREAD, Calibration, CalibrationFit, ChannelGain, ReadingFit
from lightdose.model.readings import MeterAnswer
from lightdose.present.labels import PPFD_UNIT, count, literal, number, percent
from lightdose.present.tables import Column, print_table, say, terminal_console

MIX_SHOWN = 4
MIDDLE_OF = 3
"""Fewer readings have no middle worth naming."""


def meter_lines(answer: MeterAnswer) -> Iterator[str]:
    """Everything `meter` says, the figure first and the verdict last."""
    low, high = answer.interval_95
    unit = "lx" if answer.unit == "lux" else PPFD_UNIT
    yield literal(
        f"{number(answer.reading)} {unit} at {answer.where} stands for {number(answer.ppfd_umol_m2_s)} "
        f"{PPFD_UNIT} PPFD (95 %: {number(low)} to {number(high)})."
    )
    what = f"{PPFD_UNIT} per lx under this mix" if answer.unit == "lux" else "spectral factor under this mix"
    steps = [f"{_factor(answer.spectral_factor)} {what}"]
    if answer.immersion_factor is not None:
        immersion = f"{_factor(answer.immersion_factor)} immersion"
        steps.append(immersion + (" (built into the meter)" if answer.immersion_factor == 1 else ""))
    yield f"Reading times {', times '.join(steps)}."
    mix = ", ".join(f"{name} {percent(share)}" for name, share in answer.mix[:MIX_SHOWN])
    yield literal(f"The mix: {mix}{' and others' if len(answer.mix) > MIX_SHOWN else ''}.")
    for sentence in answer.assumed:
        yield literal(f"Assumed: {sentence}.")
    model = answer.model_ppfd_umol_m2_s
    inside = low <= model <= high
    yield (
        f"The setup's own model says {number(model)} {PPFD_UNIT} here: "
        f"{'the reading agrees' if inside else 'outside that interval, so calibrate would change it'}."
    )


def _factor(value: float) -> str:
    return f"{value:.3f}" if value >= 0.1 else f"{value:.4f}"


def gain_sentence(gain: ChannelGain) -> str:
    """What one channel gives, in words."""
    low, high = (end * gain.nominal_umol_s for end in gain.interval_95)
    flux = f"{number(gain.flux_umol_s)} umol/s (95 %: {number(low)} to {number(high)})"
    return f"{_against_file(gain)}: {flux}{_tie(gain)}"


def _against_file(gain: ChannelGain) -> str:
    if not gain.stated:
        return "file says nothing"
    return f"{percent(gain.gain)} of its file"


def _tie(gain: ChannelGain) -> str:
    if gain.tied_to is None:
        return ""
    if gain.tied_to == UNREAD:
        return "; not read: stands on the fixture file"
    return f"; not told apart from {gain.tied_to}"


def other_sentences(found: Calibration) -> Iterator[str]:
    """Beams, open sky, heights, water and losses, each in a sentence."""
    for beam in found.beams:
        low, high = beam.interval_95
        yield (
            f"{beam.fixture}: beam {beam.fwhm_deg:.0f} deg wide (95 %: {low:.0f} to {high:.0f}), "
            f"{beam.nominal_fwhm_deg:g} by its file"
        )
    for sky in found.open_sky:
        low, high = sky.interval_95
        yield f"{sky.site}: open sky {sky.value:.2f} (95 %: {low:.2f} to {high:.2f})"
    for hung in found.heights:
        low, high = (100 * end for end in hung.interval_95)
        yield f"{hung.fixture}: height {100 * hung.height_m:.1f} cm (95 %: {low:.1f} to {high:.1f})"
    if found.yellowing is not None:
        low, high = found.yellowing.interval_95
        yield f"water: yellowing {found.yellowing.per_m:.2f} per m at 440 nm (95 %: {low:.2f} to {high:.2f})"
    for loss in found.together:
        low, high = loss.interval_95
        yield (
            f"{loss.fixture}: many channels together give {loss.factor:.2f} of their sum "
            f"(95 %: {low:.2f} to {high:.2f})"
        )


def off_words(fit: ReadingFit) -> str:
    """How far a reading is from the model: "4 % below", and that an outlier was left out."""
    share = fit.residual_fraction
    words = (
        "as the model" if abs(share) < 0.005 else f"{percent(abs(share))} {'above' if share > 0 else 'below'}"
    )
    return f"{words}, left out" if fit.outlier else words


def closing_sentence(fit: CalibrationFit) -> str:
    """The verdict: how many readings stand, and how well they agree."""
    kept = [abs(r.residual_fraction) for r in fit.residuals if not r.outlier]
    left = [str(r.line) for r in fit.residuals if r.outlier]
    out = f", line{'s' if len(left) > 1 else ''} {', '.join(left)} left out" if left else ""
    if len(kept) < MIDDLE_OF:
        return f"{count(len(kept), 'reading')} used{out}."
    spread = f"; half of them lie within {percent(statistics.median(kept))} of the model"
    return f"{count(len(kept), 'reading')} used{out}{spread}."


def warning_sentences(fit: CalibrationFit) -> Iterator[str]:
    """Cautions, outliers, the trend, and the reading that would tell most."""
    yield from fit.calibration.cautions
    yield from fit.contradictions
    for reading in fit.residuals:
        if reading.outlier:
            yield (
                f"line {reading.line}: {number(reading.reading_umol_m2_s)} at {reading.where} ({reading.on}) "
                f"where the rest says {number(reading.model_umol_m2_s)} {PPFD_UNIT}: left out, read it again"
            )
    if fit.trend:
        yield fit.trend
    if fit.untie:
        yield fit.untie


def calibrate_lines(fit: CalibrationFit, basis: str) -> Iterator[str]:
    """The answer for pipes: one record a line, fields parted by tabs."""
    yield literal(basis)
    for gain in fit.calibration.gains:
        yield (
            literal(f"fixture {gain.fixture}")
            + "\t"
            + literal(f"channel {gain.channel}: {gain_sentence(gain)}")
        )
    for sentence in other_sentences(fit.calibration):
        yield literal(sentence)
    for r in fit.residuals:
        fields = (
            f"line {r.line}",
            f"at {r.where}",
            f"on {r.on}",
            f"reading {number(r.reading_umol_m2_s)} {PPFD_UNIT}",
            f"model {number(r.model_umol_m2_s)} {PPFD_UNIT}",
            off_words(r),
        )
        yield "\t".join(literal(f) for f in fields)
    for sentence in warning_sentences(fit):
        yield literal(sentence)
    yield closing_sentence(fit)


def show_calibration(
    fit: CalibrationFit, basis: str, stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print `calibrate` for people: gains, readings beside the model, then what to know and to do."""
    console = terminal_console(stream, colour=colour, width=width)
    say(console, literal(basis), "italic")
    say(console, "\nWhat each channel gives at full output", "bold")
    gains = fit.calibration.gains
    print_table(console, _gain_columns(gains), [False] * len(gains), indispensable=4)
    for sentence in other_sentences(fit.calibration):
        say(console, f"- {literal(sentence)}")
    say(console, "\nReadings beside the model", "bold")
    print_table(
        console, _residual_columns(fit.residuals), [r.outlier for r in fit.residuals], indispensable=5
    )
    warnings = list(warning_sentences(fit))
    if warnings:
        say(console, "\nWorth knowing", "bold")
    for sentence in warnings:
        say(console, f"- {literal(sentence)}")
    say(console, "")
    say(console, closing_sentence(fit), "bold")


def _gain_columns(gains: Sequence[ChannelGain]) -> list[Column]:
    ends = [tuple(number(e * g.nominal_umol_s) for e in g.interval_95) for g in gains]
    return [
        Column("fixture", tuple(literal(g.fixture) for g in gains), name=True),
        Column("channel", tuple(literal(g.channel) for g in gains), name=True),
        Column("flux\numol/s", tuple(number(g.flux_umol_s) for g in gains), right=True),
        Column("95 %", tuple(f"{low}-{high}" for low, high in ends)),
        Column("against its file", tuple(_against_file(g) for g in gains)),
        Column("not told apart from", tuple(literal(g.tied_to or "") for g in gains), name=True),
    ]


def _residual_columns(fits: Sequence[ReadingFit]) -> list[Column]:
    return [
        Column("line", tuple(str(r.line) for r in fits), right=True),
        Column("at", tuple(literal(r.where) for r in fits), name=True),
        Column(f"reading\n{PPFD_UNIT}", tuple(number(r.reading_umol_m2_s) for r in fits), right=True),
        Column(f"model\n{PPFD_UNIT}", tuple(number(r.model_umol_m2_s) for r in fits), right=True),
        Column("off", tuple(off_words(r) for r in fits)),
        Column("on", tuple(literal(r.on) for r in fits), name=True),
    ]
