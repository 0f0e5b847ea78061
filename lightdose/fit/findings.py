"""What a calibration found that its keeper should look at, in sentences: the place, and one cure."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

import numpy as np

from lightdose.fit.explanations import Explanation
from lightdose.fit.gain_problem import Doubt, model_ln
from lightdose.fit.observations import statement_of
from lightdose.model.calibration import Finding
from lightdose.model.record import FloatArray
from lightdose.model.spectrum import READING_UNITS, Reading
from lightdose.quantities import Z_95

if TYPE_CHECKING:
    from lightdose.fit.calibration_problem import SolvedFit

USUAL_GAIN = (0.5, 1.15)
TWINS_APART, CHANNEL_APART = 1.3, 1.5
SKY_MOVED_SD, READING_FAR_SD = 2.0, 3.0
BEAM_UNUSUAL_SD = 3.0
SCATTER_TOLD = 1.5
OPEN_QUESTION = 0.2
TELLS_SD = 2.0
LUX_SETTLED = 1.15
MOST_OF_IT = 0.3
"""What is spoken of: gains outside this range of a data sheet, twins and channels apart by more than these
factors, skies and readings beyond so many standard uncertainties, scatter beyond so many times the stated
one, a second explanation from these odds on, a further reading from so many uncertainties on, and what a lux
meter leaves open from this factor on; a meter's scale from this share of the variance on. Our choice."""


def findings(fit: SolvedFit, value: FloatArray) -> tuple[Finding, ...]:
    """Everything worth a look, the weightiest first.

    Parameters
    ----------
    fit : SolvedFit
    value : array, shape (p,)
        The values that are reported, in the order of ``Layout``.
    """
    return (
        *_lux(fit),
        *_meter(fit, value),
        *_shade(fit),
        *_question(fit),
        *_wild(fit),
        *_lamps(fit, value),
        *_below_foot(fit),
        *_readings(fit),
    )


def lux_factor(fit: SolvedFit) -> float | None:
    """Factor either way (95 %) that a lux meter without a stated response leaves open; None if hardly any.

    Source
    ------
    Standard uncertainty of the meter's own errors after the fit, under the lights that it read.
    """
    observed, problem, solution = fit.observed, fit.problem, fit.solution
    vague = [n for n, meter in enumerate(observed.meters) if meter.states_no_response]
    rows = np.isin(np.array(observed.meter_of), vague)
    if not rows.any():
        return None
    at = problem.layout.slices()
    _, slopes, _ = model_ln(problem, solution.value)
    form = np.zeros(problem.layout.size)
    own = slopes[rows].mean(axis=0)
    for part, count in ((at.common, fit.meter_commons), (at.tilt, fit.meter_tilts)):
        of_meters = slice(part.start, part.start + count)
        form[of_meters] = own[of_meters]
    factor = math.exp(Z_95 * math.sqrt(float(solution.spread(form[None])[0, 0])))
    return factor if factor >= LUX_SETTLED else None


def says(fit: SolvedFit, explanation: Explanation) -> str:
    """An explanation in words; empty where everything is as stated."""
    doubts = [fit.problem.doubts[k] for k in explanation.doubts]
    lines = [fit.observed.readings[d.reading].place.line for d in doubts if d.kind == "reading"]
    words = []
    if lines:
        words.append(f"{_lines(lines)} {'are' if len(lines) > 1 else 'is'} wrong")
    words += [_word(fit, d) for d in doubts if d.kind != "reading"]
    return " and ".join(words)


def _lines(lines: list[int]) -> str:
    return ("line " if len(lines) == 1 else "lines ") + ", ".join(map(str, lines))


def _word(fit: SolvedFit, doubt: Doubt) -> str:
    if doubt.kind == "shade":
        return f"something shades {doubt.what}"
    several = " and " in doubt.what
    if doubt.kind == "beam":
        return f"the beam of {doubt.what} is not as its file says"
    if doubt.channel >= 0:
        fixture, channel = fit.keys[doubt.channel]
        whose = f" of {fixture}" if len(fit.fixtures) > 1 else ""
        if doubt.kind == "dead":
            return f"{channel}{whose} gives next to nothing"
        return f"{channel}{whose} gives something else than its file says"
    return f"{doubt.what} give{'' if several else 's'} something else than the file says"


def _lux(fit: SolvedFit) -> Iterator[Finding]:
    factor = lux_factor(fit)
    if factor is not None:
        yield Finding(
            "lux_meter",
            ", ".join(m.name or "lux" for m in fit.observed.meters if m.states_no_response),
            "A lux meter that states no response counts blue light badly: it may be out by a factor of "
            f"{factor:.1f} either way here, for all its readings together. One reading beside a quantum "
            "meter, as a pair in readings.csv, would settle it.",
            reading="One reading with a quantum meter beside the lux meter, as a pair in readings.csv.",
        )


def _meter(fit: SolvedFit, value: FloatArray) -> Iterator[Finding]:
    """The scale of a meter, where it is most of what is left open."""
    observed, at = fit.observed, fit.problem.layout.slices()
    own = at.common.start + np.arange(fit.meter_commons)
    rows = model_ln(fit.problem, value)[1]
    of_meter = np.zeros_like(rows)
    of_meter[:, own] = rows[:, own]
    rows[:, at.common] = rows[:, at.tilt] = 0.0
    spread = fit.solution.spread
    share = np.median(np.diagonal(spread(of_meter)) / np.maximum(np.diagonal(spread(rows)), 1e-12))
    quantum = [m for m in observed.meters if m.name and not m.states_no_response]
    if share < MOST_OF_IT or len(observed.meters) > 1 or not quantum:
        return
    (meter,) = quantum
    yield Finding(
        "meter_scale",
        meter.name,
        f"Much of what is left open is the meter itself: {meter.name} states "
        f"{100 * meter.standard_uncertainty:g} % (one standard uncertainty), and no number of its readings "
        "shows whether that is true. One reading beside another meter, as a pair in readings.csv, would.",
        lasts=False,
    )


def _shade(fit: SolvedFit) -> Iterator[Finding]:
    """Places that look more shaded than was told."""
    problem, solution = fit.problem, fit.solution
    at = problem.layout.slices().sky
    stated = {s.name: s.open_sky for s in fit.setup.sites}
    for k, doubt in enumerate(problem.doubts):
        if doubt.kind != "shade" or solution.doubted[k] < 0.5:
            continue
        place = at.start + fit.sky_sites.index(doubt.what)
        sky = min(math.exp(_given(fit, k, place)), 1.0)
        told = "the open sky that the setup states" if stated[doubt.what] >= 1 else f"{stated[doubt.what]:g}"
        yield Finding(
            "shaded_place",
            doubt.what,
            f"{doubt.what} looks shaded: its readings fit an open sky of {sky:.2f} rather than {told} "
            f"({_odds(solution.doubted[k])}). Look up from there: if something stands over it, write "
            f"open_sky = {sky:.2g} at this site; if not, read it again.",
            reading=f"Read {doubt.what} again, after a look up from there.",
        )
    yield from _asked_shade(fit, stated)


def _asked_shade(fit: SolvedFit, stated: Mapping[str, float]) -> Iterator[Finding]:
    """Places whose open sky was asked for, where it is lower than was told."""
    at, solution = fit.problem.layout.slices().sky, fit.solution
    spread = np.sqrt(np.diagonal(solution.spread(np.eye(fit.problem.layout.size)[at])))
    for n, name in enumerate(fit.sky_sites):
        ln_sky = float(solution.value[at.start + n])
        if name in fit.request.open_sky and math.log(stated[name]) - ln_sky > SKY_MOVED_SD * spread[n]:
            told = "clear" if stated[name] >= 1 else f"{stated[name]:g}"
            yield Finding(
                "shaded_place",
                name,
                f"{name}, whose open sky was to be fitted, looks shaded: {math.exp(ln_sky):.2f}, where the "
                f"setup says {told}. The calibration holds that; if nothing stands over it, read it again.",
                lasts=False,
            )


def _wild(fit: SolvedFit) -> Iterator[Finding]:
    """Readings that are left out."""
    expected = np.exp(model_ln(fit.problem, fit.solution.value)[0])
    for n in np.flatnonzero(fit.solution.outlier).tolist():
        reading = fit.observed.readings[n]
        rest = expected[n] / fit.observed.immersion[n]
        again = f"Read line {reading.place.line} ({_where(reading)}) again."
        shown = f"{reading.value:g} {READING_UNITS[reading.unit]}"
        yield Finding(
            "reading_left_out",
            f"line {reading.place.line}",
            f"line {reading.place.line}: {shown} at {_where(reading)}, where the rest says about "
            f"{_rounded(rest)}: left out. Read it again.",
            lasts=False,
            reading=again,
        )


def _below_foot(fit: SolvedFit) -> Iterator[Finding]:
    """Readings of 0 that only show where a dimming begins."""
    if below := fit.observed.below_foot:
        lines = _lines([r.place.line for r in below])
        yield Finding(
            "below_foot",
            lines,
            f"{lines}: 0, since the lamp is still dark at that level. They told where its dimming begins and "
            "nothing else.",
            lasts=False,
        )


def _given(fit: SolvedFit, doubt: int, place: int) -> float:
    """A parameter where a doubt holds, over the explanations that hold it."""
    held = [(e.odds, e.value[place]) for e in fit.solution.explanations if doubt in e.doubts]
    return float(sum(p * v for p, v in held) / sum(p for p, _ in held)) if held else 0.0


def _odds(share: float) -> str:
    return "almost certain" if share >= 0.98 else f"odds {round(10 * share)} in 10"


def _question(fit: SolvedFit) -> Iterator[Finding]:
    """Two explanations that readings leave open, and the reading that would tell them apart."""
    likely = fit.solution.explanations
    if len(likely) < 2 or likely[1].odds < OPEN_QUESTION:
        return
    one, other = (says(fit, e) or "all is as stated" for e in likely[:2])
    odds = [100 * e.odds for e in likely[:2]]
    text = f"Two explanations fit the readings: {one} ({odds[0]:.0f} %), or {other} ({odds[1]:.0f} %)."
    telling = _telling(fit)
    yield Finding("two_explanations", "", f"{text} {telling}", reading=telling)


def _telling(fit: SolvedFit) -> str:
    """Which reading, made again or anew, tells the two likeliest explanations apart."""
    one, other = fit.solution.explanations[:2]
    expected = [model_ln(fit.problem, e.value) for e in (one, other)]
    apart = np.abs(expected[0][0] - expected[1][0]) / fit.problem.sd
    best = int(np.argmax(apart))
    if apart[best] < TELLS_SD:
        return "Readings at other places would tell."
    reading = fit.observed.readings[best]
    shown = [math.exp(ln[best]) / fit.observed.immersion[best] for ln, _, _ in expected]
    figures = " or ".join(f"{_rounded(v)} {READING_UNITS[reading.unit]}" for v in shown)
    return f"Read line {reading.place.line} ({_where(reading)}) again: about {figures} tells which."


def _rounded(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.1f}"


def _where(reading: Reading) -> str:
    if reading.site is not None:
        return reading.site
    return f"x {100 * reading.x_m:g} cm, y {100 * reading.y_m:g} cm"


def _lamps(fit: SolvedFit, value: FloatArray) -> Iterator[Finding]:
    """Outputs and beams that are not what is usual beside their files."""
    at = fit.problem.layout.slices()
    lit = fit.solution.share[~fit.solution.outlier].max(axis=0, initial=0.0) > 0
    ln_gain = value[at.fixture][fit.fixture_of] + value[at.channel]
    flux = fit.observed.nominal_umol_s
    channels = [c for f in fit.setup.lit_fixtures for c in f.type.channels]
    sheet = np.array([statement_of(c) == "data sheet" for c in channels])
    overall: dict[int, float] = {}
    for n in fit.seen:
        own = (fit.fixture_of == n) & lit
        if not own.any():
            continue
        overall[n] = float(flux[own] @ np.exp(ln_gain[own]) / flux[own].sum())
        if not np.all(sheet[own]):
            continue
        name = fit.fixtures[n].name
        if not USUAL_GAIN[0] <= overall[n] <= USUAL_GAIN[1]:
            yield Finding(
                "gain_unusual",
                name,
                f"{name} gives {100 * overall[n]:.0f} % of its data sheet, where "
                f"{100 * USUAL_GAIN[0]:.0f} to {100 * USUAL_GAIN[1]:.0f} % are usual: compare its settings "
                "at the time of the readings, its lens and the fixture file.",
            )
            continue
        for k in np.flatnonzero(
            own & (np.abs(np.log(np.exp(ln_gain) / overall[n])) > math.log(1.5))
        ).tolist():
            yield Finding(
                "gain_unusual",
                "/".join(fit.keys[k]),
                f"{fit.keys[k][1]} of {name} gives {100 * math.exp(ln_gain[k]):.0f} % of its data sheet, "
                f"the whole lamp {100 * overall[n]:.0f} %: read this channel alone once more; if it stays "
                "so, its LEDs or its driver are failing.",
            )
    yield from _twins(fit, overall)
    for place, n in enumerate(fit.beam_fixtures):
        index = at.beam.start + place
        sd = math.sqrt(fit.problem.prior[index, index])
        if abs(value[index]) > BEAM_UNUSUAL_SD * sd:
            yield Finding(
                "beam_unusual",
                fit.fixtures[n].name,
                f"The readings fit a beam of {fit.fixtures[n].name} that is {math.exp(value[index]):.2f} "
                "times as wide as its file says: look which lens it has; two readings in the air, below it "
                "and 20 cm to the side, would settle it.",
            )


def _twins(fit: SolvedFit, overall: dict[int, float]) -> Iterator[Finding]:
    kinds = {n: id(fit.setup.lit_fixtures[n].type) for n in overall}
    for one in overall:
        for other in overall:
            if one < other and kinds[one] == kinds[other]:
                low, high = sorted((one, other), key=overall.__getitem__)
                ratio = overall[high] / overall[low]
                if ratio > TWINS_APART:
                    yield Finding(
                        "twins_apart",
                        f"{fit.fixtures[low].name}, {fit.fixtures[high].name}",
                        f"{fit.fixtures[high].name} gives {ratio:.2f} times what {fit.fixtures[low].name} "
                        "gives, though they are of one kind: compare their settings and lenses, and read "
                        "both from the same distance.",
                    )


def _readings(fit: SolvedFit) -> Iterator[Finding]:
    """Readings that are far off without being left out, skies that moved, and scatter."""
    problem, solution = fit.problem, fit.solution
    at = problem.layout.slices().sky
    for n, name in enumerate(fit.sky_sites):
        index = at.start + n
        sd = math.sqrt(problem.prior[index, index])
        shaded = any(d.what == name and solution.doubted[k] >= 0.5 for k, d in enumerate(problem.doubts))
        moved = (solution.value[index] - problem.mean[index]) / sd if sd > 0 else 0.0
        if abs(moved) > SKY_MOVED_SD and not shaded and name not in fit.request.open_sky:
            stated = math.exp(problem.mean[index])
            yield Finding(
                "sky_moved",
                name,
                f"{name} fits an open sky of {min(math.exp(solution.value[index]), 1):.2f} where the setup "
                f"says {stated:.2f}: look again at what stands over it.",
                lasts=False,
            )
    for n, reading in enumerate(fit.observed.readings):
        off = float(solution.z[n])
        if abs(off) > READING_FAR_SD and not solution.outlier[n]:
            side = "above" if off > 0 else "below"
            yield Finding(
                "reading_far",
                f"line {reading.place.line}",
                f"line {reading.place.line} ({_where(reading)}) is "
                f"{100 * abs(math.expm1(off * problem.sd[n])):.0f} % {side} what the others make of it: "
                "read it again.",
                lasts=False,
            )
    if solution.scatter > SCATTER_TOLD:
        yield Finding(
            "readings_scatter",
            "",
            f"The readings scatter {solution.scatter:.1f} times as much as a level sensor at the stated "
            "places would: intervals are wider for it. Hold the sensor level, and give it some seconds.",
            lasts=False,
        )
