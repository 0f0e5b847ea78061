"""`calibrate`: what each channel really gives, what else was fitted, and every reading beside the model."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Mapping
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say, Section
from lightdose.answers.field import Field, as_json, plain, said, table
from lightdose.answers.verdicts import interval_text
from lightdose.answers.words import count, factor_words, named, percent
from lightdose.model.calibration import (
    UNREAD,
    Calibration,
    CalibrationFit,
    ChannelGain,
    Contradiction,
    Interval,
    ReadingFit,
    Trend,
    Untying,
)
from lightdose.model.results import Basis, Caution
from lightdose.model.setup import Setup

MIDDLE_OF: Final = 3
"""Fewer readings have no middle worth naming."""

WELL_KNOWN: Final = 1.15
"""A channel is spoken of as known from this factor down: our choice."""

FOUND_BY: Final = "the readings; limits: our choice"


def _flux_span(gain: ChannelGain) -> str:
    low, high = gain.interval_95
    return interval_text((low * gain.nominal_umol_s, high * gain.nominal_umol_s))


def _against_file(gain: ChannelGain) -> str:
    return f"{percent(gain.gain)} of its file" if gain.stated else "file says nothing"


def off_words(reading: ReadingFit) -> str:
    """How far a reading is from the model: "4 % below", and that an outlier was left out."""
    share = reading.residual_fraction
    side = "above" if share > 0 else "below"
    words = "as the model" if abs(share) < 0.005 else f"{percent(abs(share))} {side}"
    return f"{words}, left out" if reading.outlier else words


# fmt: off
GAIN: Final = (
    Field("fixture", "fixture", lambda g: g.fixture, kind="string", fold=True, at={"gains": 0}),
    Field("channel", "channel", lambda g: g.channel, kind="string", fold=True, at={"gains": 1}),
    Field("gain", "gain", lambda g: g.gain, what="measured over nominal output"),
    Field("interval_95", "gain, 95 %", lambda g: g.interval_95),
    Field("tied_to", "tied to", lambda g: g.tied_to, what="what it leans on; null where readings tell it"),
    Field("photon_flux_umol_s", "flux", lambda g: g.flux_umol_s, unit="umol/s", at={"gains": 2},
          what="photons of 300-800 nm at full output"),
    said("flux_95", "95 %", _flux_span, kind="string", at={"gains": 3}),
    said("against", "against its file", _against_file, kind="string", at={"gains": 4}),
)
READING: Final = (
    Field("line", "line", lambda r: r.line, what="of the file of readings", at={"readings": 0}),
    said("where", "at", lambda r: r.where, kind="string", fold=True, at={"readings": 1}),
    Field("reading_umol_m2_s", "reading", lambda r: r.reading_umol_m2_s, "ppfd", at={"readings": 2}),
    Field("model_umol_m2_s", "model", lambda r: r.model_umol_m2_s, "ppfd", at={"readings": 3}),
    Field("outlier", "outlier", lambda r: r.outlier, what="whether it was left out"),
    said("off", "off", off_words, kind="string", at={"readings": 4}),
    said("on", "on", lambda r: r.on, kind="string", fold=True, at={"readings": 5}),
)
# fmt: on


def calibrate_answer(
    fit: CalibrationFit, setup: Setup, basis: Basis, cautions: tuple[Caution, ...], inputs: Mapping[str, str]
) -> Answer:
    """Gains first, then what must be known; each reading beside the model where all is asked for.

    ``cautions`` hold as long as the calibration does; ``inputs`` is the file of readings with its sha256.
    """
    measured = fit.calibration
    found = tuple(Caution(f.key, f.text, FOUND_BY, (f.where,) if f.where else ()) for f in fit.findings)
    kept = tuple(c for c in cautions if c.text not in {f.text for f in found})
    told = (*found, *kept, *map(_caution, fit.contradictions))
    warnings = tuple(Point(text) for text in (*(c.text for c in told), trend_sentence(fit.trend)) if text)
    readings = table(
        "readings", "Readings beside the model", READING, fit.residuals, strong=lambda r: r.outlier, least=5
    )
    return Answer(
        "calibrate",
        (
            Say(basis.sentence, "basis"),
            Section(
                "What each channel gives at full output",
                (
                    table("gains", "What each channel gives", GAIN, measured.gains, least=5),
                    Points((*_ties(measured), *_also_fitted(measured))),
                ),
            ),
            Section("Readings beside the model", (readings,), brief=False),
            *([Section("Worth knowing", (Points(warnings),))] if warnings else []),
            Section("Where that leaves you", (Points(tuple(_standing(fit, setup))),)),
            Section("", (Say("--all shows each reading beside the model.", "note"),), extra=False),
            Say(closing_line(fit), "verdict"),
        ),
        lambda: _body(fit, setup),
        title=setup.title,
        basis=basis.key,
        cautions=told,
        setups=(setup,),
        inputs=inputs,
    )


def _body(fit: CalibrationFit, setup: Setup) -> dict[str, Any]:
    measured, tint = fit.calibration, fit.calibration.yellowing
    fitted = ("date", "meters", "readings", "beams", "open_sky", "heights", "together", "feet", "lux_factor")
    return {
        **{name: plain(getattr(measured, name)) for name in fitted},
        "gains": [as_json(GAIN, gain) for gain in measured.gains],
        "yellowing_440_per_m": tint and {"value": tint.per_m, "interval_95": plain(tint.interval_95)},
        "residuals": [as_json(READING, reading) for reading in fit.residuals],
        "explanations": [{"odds": e.odds, "says": e.says} for e in measured.explanations],
        "known": known_sentence(fit),
        "not_known": list(_not_known(fit, setup)),
        "shaded_places": _shaded(fit, setup),
        "next_reading": next_reading(fit),
        "untie": untying_sentence(fit.untying, measured),
        "trend": trend_sentence(fit.trend),
    }


def _ties(measured: Calibration) -> Iterator[Point]:
    """What no reading tells apart, and on what it leans."""
    tied: dict[tuple[str, str], list[str]] = {}
    for gain in measured.gains:
        if gain.tied_to is not None:
            tied.setdefault((gain.fixture, gain.tied_to), []).append(gain.channel)
    for (fixture, lean), channels in tied.items():
        words = "not read: as the fixture file says" if lean == UNREAD else f"not told apart from {lean}"
        yield Point(words, f"{fixture}, {', '.join(channels)}")


def _also_fitted(measured: Calibration) -> Iterator[Point]:
    """Beams, open sky, heights, water and losses, each in a sentence."""

    def span(ends: Interval, digits: int) -> str:
        return f"(95 %: {ends[0]:.{digits}f} to {ends[1]:.{digits}f})"

    for beam in measured.beams:
        width = f"beam {beam.fwhm_deg:.0f} deg wide {span(beam.interval_95, 0)}"
        yield Point(f"{width}, {beam.nominal_fwhm_deg:g} by its file", beam.fixture)
    for sky in measured.open_sky:
        yield Point(f"open sky {sky.value:.2f} {span(sky.interval_95, 2)}", sky.site)
    for hung in measured.heights:
        low, high = (100 * end for end in hung.interval_95)
        stated = "" if hung.stated_m is None else f", {100 * hung.stated_m:g} by the setup"
        yield Point(f"height {100 * hung.height_m:.1f} cm {span((low, high), 1)}{stated}", hung.fixture)
    if tint := measured.yellowing:
        yield Point(f"yellowing {tint.per_m:.2f} per m at 440 nm {span(tint.interval_95, 2)}", "water")
    for loss in measured.together:
        words = f"many channels together give {loss.factor:.2f} of their sum {span(loss.interval_95, 2)}"
        yield Point(words, loss.fixture)


# ---- in plain words -------------------------------------------------------------------------------------


def _standing(fit: CalibrationFit, setup: Setup) -> Iterator[Point]:
    """What is known now, what is not, whether a place looks shaded, and the reading to take next."""
    yield Point(known_sentence(fit), "Known now")
    if unknown := list(_not_known(fit, setup)):
        yield Point("; ".join(unknown) + ".", "Not known")
    shaded = _shaded(fit, setup)
    looks = "looks" if len(shaded) == 1 else "look"
    words = (
        f"{named(shaded)} {looks} shaded"
        if shaded
        else "no place that was read looks more shaded than stated"
    )
    yield Point(f"{words}.", "Shade")
    yield Point(next_reading(fit), "Next reading")


def known_sentence(fit: CalibrationFit) -> str:
    """How well the lamps that were read are known, alike ones together."""
    by_words: dict[str, list[str]] = {}
    for total in sorted(fit.totals, key=lambda t: t.factor_95):
        by_words.setdefault(factor_words(total.factor_95), []).append(total.fixture)
    if not by_words:
        return "no lamp: every reading was left out."
    place = fit.light_factor_95
    light = [] if place is None else [f"the light where you read, {factor_words(place)}"]
    lamps = "; ".join(
        light
        + [
            f"what {named(names)} {'gives' if len(names) == 1 else 'give'} in all, {words}"
            for words, names in by_words.items()
        ]
    )
    alone = [g for g in fit.calibration.gains if g.tied_to is None]
    well = [g for g in alone if _factor(g) <= WELL_KNOWN]
    channels = f"; {len(well)} of {count(len(fit.calibration.gains), 'channel')} by themselves within 15 %"
    return f"{lamps}{channels if well else ''} (95 %)."


def _factor(gain: ChannelGain) -> float:
    low, high = gain.interval_95
    return math.sqrt(high / low)


def _not_known(fit: CalibrationFit, setup: Setup) -> Iterator[str]:
    """Lamps without a reading, channels that only come together, and places that were not read."""
    measured = fit.calibration
    unread = [f.name for f in setup.lit_fixtures if not measured.measures(f.name)]
    if unread:
        yield f"{named(unread)}, which no reading saw"
    several = len({g.fixture for g in measured.gains}) > 1
    tied = [
        f"{g.channel} of {g.fixture}" if several else g.channel
        for g in measured.gains
        if g.tied_to is not None and g.fixture not in unread
    ]
    if tied:
        yield f"{named(tied)} by {'itself' if len(tied) == 1 else 'themselves'}"
    read = {r.where for r in fit.residuals}
    places = [s.name for s in setup.sites if s.name not in read]
    if places:
        stand = "its open sky stands" if len(places) == 1 else "their open sky stands"
        yield f"{count(len(places), 'place')} of {len(setup.sites)} not read: {stand} as the setup says"


def _shaded(fit: CalibrationFit, setup: Setup) -> list[str]:
    """Places that look more shaded than stated: found so, or with an open sky that came out lower."""
    stated = {s.name: s.open_sky for s in setup.sites}
    lower = {sky.site for sky in fit.calibration.open_sky if sky.value < stated.get(sky.site, 0.0)}
    return [
        f.where
        for f in fit.findings
        if f.key == "shaded_place" or (f.key == "sky_moved" and f.where in lower)
    ]


def next_reading(fit: CalibrationFit) -> str:
    """The one reading that would tell most now."""
    asked = (f.reading for f in fit.findings if f.reading)
    untied = untying_sentence(fit.untying, fit.calibration)
    return next(asked, untied or "No single one would tell much more; `lightdose survey` picks further ones.")


def _caution(contradiction: Contradiction) -> Caution:
    one, others = contradiction.reading, contradiction.others
    lines = ("line " if len(others) == 1 else "lines ") + ", ".join(str(r.place.line) for r in others)
    text = (
        f"line {one.place.line} ({one.value:g} {one.unit}) contradicts {lines} "
        f"({', '.join(f'{r.value:g}' for r in others)}) at the same place and levels: read it again"
    )
    return Caution("contradiction", text, "5 standard uncertainties of their difference: our choice")


def untying_sentence(untying: Untying | None, measured: Calibration) -> str:
    """The single further reading that would tell most; empty where no gain is tied."""
    if untying is None:
        return ""
    brightest = untying.brightest
    where = f"at {brightest.site}" if brightest.site else f"where line {brightest.place.line} was read"
    of = f" of {untying.fixture}" if len({g.fixture for g in measured.gains}) > 1 else ""
    then = f"; then {', '.join(untying.then)} the same way" if len(untying.then) > 1 else ""
    return f"One reading {where} with only {untying.channel}{of} on would tell it apart{then}."


def trend_sentence(trend: Trend | None) -> str:
    """How much the fixtures changed, beside what meters differ by; empty without an earlier calibration."""
    if trend is None:
        return ""

    def change(share: float) -> str:
        way = f"{100 * abs(share):.0f} % {'lower' if share < 0 else 'higher'}"
        return way if abs(share) >= 0.005 else "unchanged"

    changes = ", ".join(f"{fixture} {change(share)}" for fixture, share in trend.change.items())
    what = "readings with one meter" if trend.same_meters else "two meters"
    verdict = f"{what} can differ that much" if trend.usual else f"more than {what} usually differ"
    return f"Since {trend.since}: {changes}; {verdict}."


def closing_line(fit: CalibrationFit) -> str:
    """How many readings stand, and how well they agree."""
    kept = [abs(r.residual_fraction) for r in fit.residuals if not r.outlier]
    left = [str(r.line) for r in fit.residuals if r.outlier]
    out = f", line{'s' if len(left) > 1 else ''} {', '.join(left)} left out" if left else ""
    if len(kept) < MIDDLE_OF:
        return f"{count(len(kept), 'reading')} used{out}."
    spread = f"half of them lie within {percent(statistics.median(kept))} of the model"
    return f"{count(len(kept), 'reading')} used{out}; {spread}."
