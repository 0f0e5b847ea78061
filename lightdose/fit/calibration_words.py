"""What a fit cannot tell, and what stands out, in words: ties, losses, contradictions, the trend."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.fit.gain_solver import GainProblem, Solution
from lightdose.fit.observations import Observations
from lightdose.model.arrays import FloatArray
from lightdose.model.calibration import UNREAD, Calibration, EarlierCalibration, TogetherFactor

UNSEEN_LN = 0.3
"""Mixtures of gains that readings alone know worse than this are unseen: our choice."""

TIED_SHARE = 0.1
PARTNER_SHARE = 0.03
"""Share of a gain that lies in unseen mixtures from which it counts as tied, and as the partner of one."""

SAME_METER, OTHER_METER = 0.06, 0.14
"""Twice the uncertainty of a ratio of two readings, with one meter (drift 2 % each) and with two (5 % each,
of which 2.5 % standard): our choice, after the rough figures of quantum sensors."""

Key = tuple[str, str]


def tied_to(problem: GainProblem, solution: Solution, keys: Sequence[Key]) -> list[str | None]:
    """For each channel, what its gain leans on; None where readings tell it apart.

    Parameters
    ----------
    problem, solution : of the fit
    keys : fixture and channel of each gain

    Returns
    -------
    list of str or None
        Names of the channels that only come together with it, or of the fixture's measured ones; ``UNREAD``
        where no reading saw the fixture.

    Source
    ------
    Eigenvectors of the readings' information on the gains; limits are our choice.
    """
    unseen = _unseen(problem, solution)
    lit = solution.share[~solution.outlier].max(axis=0, initial=0.0) > 0
    read = {keys[n][0] for n in np.flatnonzero(lit).tolist()}
    result: list[str | None] = []
    for n, (fixture, _) in enumerate(keys):
        if fixture not in read:
            twins = [
                k[0]
                for k, row in zip(keys, problem.shared, strict=True)
                if k[0] in read and row @ problem.shared[n]
            ]
            result.append(f"{twins[0]}, of the same kind" if twins else UNREAD)
        elif unseen[n, n] < TIED_SHARE:
            result.append(None)
        else:
            mates = np.abs(unseen[n]) * (np.arange(len(keys)) != n) * lit * lit[n]
            least = max(PARTNER_SHARE, 0.25 * float(mates.max()))
            partners = np.flatnonzero(mates > least).tolist()
            if not partners:
                partners = [
                    m
                    for m, key in enumerate(keys)
                    if key[0] == fixture and m != n and unseen[m, m] < TIED_SHARE
                ] or [m for m, key in enumerate(keys) if key[0] == fixture and m != n and lit[m]]
            names = [_name(keys[m], fixture) for m in partners]
            result.append(" + ".join(names) if names else UNREAD)
    return result


def _unseen(problem: GainProblem, solution: Solution) -> FloatArray:
    """Projector on the mixtures of gains that the readings hardly see."""
    keep = ~solution.outlier
    scaled = solution.share[keep] / problem.sd[keep][:, None]
    value, vector = np.linalg.eigh(scaled.T @ scaled)
    hidden = vector[:, value < 1 / UNSEEN_LN**2]
    return np.asarray(hidden @ hidden.T)


def _name(key: Key, beside: str) -> str:
    return key[1] if key[0] == beside else f"{key[0]}/{key[1]}"


def untie_sentence(
    observed: Observations, problem: GainProblem, keys: Sequence[Key], ties: Sequence[str | None]
) -> str:
    """The single further reading that would tell most, or nothing where no gain is tied.

    Parameters
    ----------
    observed, problem : of the fit
    keys : fixture and channel of each gain
    ties : what each is tied to

    Returns
    -------
    str

    Source
    ------
    Our choice: the tied channel with the largest nominal flux, alone, where it was brightest.
    """
    tied = [n for n, tie in enumerate(ties) if tie is not None]
    if not tied:
        return ""
    best = max(tied, key=lambda n: (ties[n] == UNREAD, observed.nominal_umol_s[n]))
    brightest = int(np.argmax(problem.shape.base[:, best] + problem.fixed_ln))
    reading = observed.readings[brightest]
    where = f"at {reading.site}" if reading.site else f"where line {reading.place.line} was read"
    fixture, channel = keys[best]
    several = len({f for f, _ in keys}) > 1
    of = f" of {fixture}" if several else ""
    others = [keys[n][1] for n in tied if n != best and keys[n][0] == fixture]
    then = f"; then {', '.join(others)} the same way" if len(others) > 1 else ""
    return f"One reading {where} with only {channel}{of} on would tell it apart{then}."


def together_caution(loss: TogetherFactor) -> str:
    """What it means that channels give less together than one by one.

    Parameters
    ----------
    loss : TogetherFactor

    Returns
    -------
    str

    Source
    ------
    Shared power limits and heat: common practice, no published source for the size.
    """
    return (
        f"{loss.fixture} gives {100 * (1 - loss.factor):.0f} % less with many channels on than their single "
        "readings add up to (a shared power limit, or heat): doses use the smaller figure, so hours with few "
        f"channels on are {100 * (1 / loss.factor - 1):.0f} % brighter than stated."
    )


def contradictions(observed: Observations, solution: Solution, problem: GainProblem) -> tuple[str, ...]:
    """Pairs of readings of one place and one mix that cannot both be right.

    Parameters
    ----------
    observed, solution, problem : of the fit

    Returns
    -------
    tuple of str

    Source
    ------
    Our choice: 5 standard uncertainties of their difference.
    """
    points = observed.points_m()
    residual, said = solution.z * problem.sd, []
    for a in np.argsort(~solution.outlier, kind="stable").tolist():
        one = observed.readings[a]
        alike = np.all(np.isclose(points, points[a], atol=1e-3), axis=1)
        alike &= np.all(np.isclose(observed.output, observed.output[a], atol=1e-6), axis=1)
        against = [
            observed.readings[b]
            for b in np.flatnonzero(alike & ~solution.outlier).tolist()
            if (b > a or solution.outlier[a])
            and abs(residual[a] - residual[b]) > 5 * math.hypot(problem.sd[a], problem.sd[b])
        ]
        if against:
            lines = "line " if len(against) == 1 else "lines "
            lines += ", ".join(str(r.place.line) for r in against)
            values = ", ".join(f"{r.value:g}" for r in against)
            said.append(
                f"line {one.place.line} ({one.value:g} {one.unit}) contradicts {lines} "
                f"({values}) at the same place and levels: read it again"
            )
    return tuple(said)


def trend_sentence(new: Calibration, before: EarlierCalibration) -> str:
    """How much the fixtures changed since an earlier calibration, beside what meters differ by.

    Parameters
    ----------
    new : Calibration
    before : the one to compare with

    Returns
    -------
    str
        Empty where they have no measured channel in common.

    Source
    ------
    Ratio of measured photon fluxes; what two meters may differ by: our choice, after rough figures.
    """
    flux = {(g.fixture, g.channel): g for g in before.gains if g.tied_to is None}
    by_fixture: dict[str, list[float]] = {}
    for gain in new.gains:
        old = flux.get((gain.fixture, gain.channel))
        if old is not None and gain.tied_to is None:
            by_fixture.setdefault(gain.fixture, []).append(math.log(gain.flux_umol_s / old.flux_umol_s))
    if not by_fixture:
        return ""
    same = set(new.meters) == set(before.meters)
    allowed = SAME_METER if same else OTHER_METER
    what = "readings with one meter" if same else "two meters"
    parts, largest = [], 0.0
    for fixture, logs in by_fixture.items():
        change = math.exp(sum(logs) / len(logs)) - 1
        largest = max(largest, abs(change))
        way = f"{100 * abs(change):.0f} % {'lower' if change < 0 else 'higher'}"
        parts.append(f"{fixture} {way if abs(change) >= 0.005 else 'unchanged'}")
    verdict = f"{what} can differ that much" if largest <= allowed else f"more than {what} usually differ"
    return f"Since {before.date}: {', '.join(parts)}; {verdict}."
