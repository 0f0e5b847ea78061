"""The counter question: what one reading can mean under reef lamps of any mix, and what it cannot settle."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import product
from typing import Final

import numpy as np

from lightdose.judge.verdict import dli_state
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import DliState
from lightdose.model.setup import CoralGroup
from lightdose.model.shop import Estimate, Factor, Question, Range, Standing, WhiteAmount
from lightdose.model.spectrum import ReadsQuantity, ReferenceTables, SensorShape
from lightdose.physics.meters import (
    IMMERSION_FRACTION,
    IMMERSION_RANGE,
    LUX_EXPONENT_SD,
    shape_response,
    target_row,
)
from lightdose.quantities import MOL_PER_UMOL_S_H

VIOLETS: Final = ("violet-405", "violet-420", "violet-430")
ROYAL_BLUES: Final = ("blue-445", "blue-450", "blue-455")
BLUES: Final = ("blue-465", "blue-470", "blue-480")
CYANS: Final = ("cyan-495", "cyan-505")
WHITES: Final = ("white-led-b1", "white-led-b2", "white-led-b3", "white-led-b4", "white-led-b5")
EMITTERS: Final = (*VIOLETS, *ROYAL_BLUES, *BLUES, *CYANS, *WHITES)

MOST_VIOLET, MOST_CYAN = 0.4, 0.2
SHARE_STEP = 0.2
WHITE_SHARES: Final[Mapping[WhiteAmount, tuple[float, ...]]] = {
    "none": (0.0,),
    "little": (0.03, 0.1, 0.2),
    "much": (0.2, 0.45, 0.7),
}
"""Shares of PPFD, our choice: violet to 0.4 and cyan to 0.2 of the coloured part, blue the rest; no white 0,
a little 0.03-0.2, much 0.2-0.7."""

UMOL_SHAPES: Final[tuple[SensorShape, ...]] = ("ideal", "short-red", "soft", "tilted", "silicon")
LUX_POWERS: Final = (1 - 2 * LUX_EXPONENT_SD, 1.0, 1 + 2 * LUX_EXPONENT_SD)
"""A lux sensor is taken as V(lambda) to these powers: our choice, the same spread as in `calibrate`."""


@dataclass(frozen=True, eq=False)
class Mixes:
    """Shares of PPFD of every mix, shape (n_mix, n_emitter) in the order of ``EMITTERS``."""

    share: FloatArray

    def of(self, per_ppfd: FloatArray) -> FloatArray:
        """A quantity of each mix per PPFD, from that of each emitter per PPFD; shape (n_mix,)."""
        return np.asarray(self.share @ per_ppfd)


def mixes(white: WhiteAmount) -> Mixes:
    """Every mix that is tried for an amount of white.

    Returns
    -------
    Mixes
        Each with one violet, one royal blue, one blue, one cyan and one white of the library.

    Source
    ------
    Shares and their limits: our choice; common practice of reef lamps, no published source.
    """
    steps = round(1 / SHARE_STEP)
    violets, cyans = range(round(MOST_VIOLET * steps) + 1), range(round(MOST_CYAN * steps) + 1)
    coloured = np.array(
        [
            (violet, royal, steps - violet - cyan - royal, cyan)
            for violet, cyan in product(violets, cyans)
            for royal in range(steps - violet - cyan + 1)
        ],
        dtype=np.float64,
    )
    coloured /= steps
    place = {name: n for n, name in enumerate(EMITTERS)}
    whites = WHITES if white != "none" else WHITES[:1]
    rows = []
    for *colours, white_name in product(VIOLETS, ROYAL_BLUES, BLUES, CYANS, whites):
        for share in WHITE_SHARES[white]:
            block = np.zeros((len(coloured), len(EMITTERS)))
            block[:, [place[name] for name in colours]] = coloured * (1 - share)
            block[:, place[white_name]] = share
            rows.append(block)
    return Mixes(np.concatenate(rows))


def emitter_rows(photons: Mapping[str, FloatArray], tables: ReferenceTables) -> FloatArray:
    """Photons of each emitter of the mixes for one micromole of PPFD, shape (n_emitter, 500).

    Parameters
    ----------
    photons : array of shape (500,) by name of the emitter, any scale
    tables : ReferenceTables

    Returns
    -------
    array, shape (n_emitter, 500)

    Source
    ------
    Definition of PPFD: 400-700 nm, CIE S 017:2020.
    """
    rows = np.array([photons[name] for name in EMITTERS])
    return np.asarray(rows / (rows @ target_row("umol", tables))[:, None])


def lux_per_ppfd(rows: FloatArray, tables: ReferenceTables) -> FloatArray:
    """Lux for one micromole of PPFD of each emitter.

    Parameters
    ----------
    rows : array, shape (n_emitter, 500)
    tables : for V(lambda)

    Returns
    -------
    array, shape (n_emitter,). [lx per umol m-2 s-1]

    Source
    ------
    CIE 018:2019.
    """
    return np.asarray(rows @ target_row("lux", tables))


def shown_per_ppfd(
    rows: FloatArray, unit: ReadsQuantity, sources: Mapping[str, FloatArray], tables: ReferenceTables
) -> FloatArray:
    """What generic sensors show for one micromole of PPFD of each emitter.

    Parameters
    ----------
    rows : array, shape (n_emitter, 500)
    unit : "umol": the generic shapes, each calibrated on each source; "lux": powers of V(lambda), on each
    sources : photons of lamps that meters are calibrated on, shape (500,) each
    tables : for V(lambda)

    Returns
    -------
    array, shape (n_sensor, n_emitter)

    Source
    ------
    Generic shapes: ours, of no instrument. Calibration: CIE S 017:2020, 17-25-115.
    """
    target = target_row(unit, tables)
    if unit == "umol":
        responses = [shape_response(shape, "umol", tables) for shape in UMOL_SHAPES]
    else:
        floor = np.maximum(tables.photopic, 1e-12)
        responses = [target * floor ** (power - 1) for power in LUX_POWERS]
    return np.array([rows @ r * (s @ target) / (s @ r) for r in responses for s in sources.values()])


SUNLIGHT_LUX_PER_UMOL = 54.0
"""For sun and sky: Thimijan & Heins 1983, HortScience 18:818 (second hand)."""

OWN_FRACTION: Final = {"umol": 0.10, "lux": 0.35}
"""Calibration, cosine and placement of a hobby meter, and of a phone: our choice, at their ends."""

LAMP_HEIGHT_M = (0.10, 0.40)
WATER_INDEX = 1.34
SURFACE_PASSES = (0.93, 0.98)
"""Share that a calm surface lets through, diffuse and from straight above (Fresnel, n 1.333)."""

WORST_YELLOWING_PER_M = 0.5
"""Yellowed water that a keeper can see, as an absorption of all the light: our choice, on the dark side."""

WIDE_FACTOR = 3.0
"""Beyond this ratio of its ends a reading settles nothing: our choice; a usual band is about 2 wide."""

STATES: Final[tuple[DliState, ...]] = ("far_below", "below", "within", "above", "far_above")
DEEDS: Final[Mapping[DliState, str]] = {
    "far_below": "more light",
    "below": "more light",
    "within": "leave it",
    "above": "less light",
    "far_above": "less light",
    "not_judged": "not judged",
}

ASK: Final = (
    "What changed in the last weeks: lamp, programme, height, carbon, water change, its place in the tank?",
    "Heat: the highest water temperature of the last weeks? Heat multiplies light stress.",
    "Nutrients: nitrate and phosphate, both or one near zero, or risen fast?",
    "Pale on top only (rather light or a sudden rise), or pale all over (rather nutrients, heat, or shade)?",
    "Pests, salinity, a neighbour's sting, flow?",
)
LIMITS: Final = (
    "Light is ruled in or out here, never diagnosed: pale or closed corals have many causes.",
    "Neither dose nor colour can be read from a photograph: cameras set exposure and colour themselves.",
    "The reading is taken as the plateau of the day, the sensor level and its body out of the light.",
    "Read with dry hands and your face out of the beam: blue and violet look dim while they are strong.",
)
IN_AIR = (
    "A reading in the air is not a coral's light: it is judged as if the coral stood at the sensor. Give "
    "--depth, or read under water."
)


def estimate(
    question: Question,
    photons: Mapping[str, FloatArray],
    sources: Mapping[str, FloatArray],
    tables: ReferenceTables,
    groups: Sequence[CoralGroup],
    group_sources: Mapping[str, str],
    *,
    group: str | None,
) -> Estimate:
    """The range of PPFD and dose that a reading can stand for, and what it says of corals.

    Parameters
    ----------
    question : Question
    photons : photons of the library's emitters by name, shape (500,) each
    sources : photons of lamps that meters are calibrated on, shape (500,) each
    tables : ReferenceTables
    groups : the group asked for, or all of them
    group_sources : citations by short key
    group : key of the group asked for, or None

    Returns
    -------
    Estimate
        Ends at which every cause of error stands at its own end: a range, not an interval of confidence.

    Source
    ------
    Trapezoid day: DLI = 0.0036 PPFD (hours - ramp), exact. Mixes, sensors and widths: our choice, each named.
    """
    trial = mixes(question.white)
    rows = emitter_rows(photons, tables)
    shown = np.array([trial.of(sensor) for sensor in shown_per_ppfd(rows, question.unit, sources, tables)])
    lux = trial.of(lux_per_ppfd(rows, tables))
    factors = (
        Factor(
            "colour of the light and of the sensor",
            float(1 / shown.max()),
            float(1 / shown.min()),
            f"{lux.size} mixes of library channels, generic sensors set on {' and '.join(sources)}: ours",
        ),
        *_own_factors(question),
    )
    low = question.reading * math.prod(f.low for f in factors)
    high = question.reading * math.prod(f.high for f in factors)
    full_hours = question.hours_h - question.ramp_h
    dli = (MOL_PER_UMOL_S_H * low * full_hours, MOL_PER_UMOL_S_H * high * full_hours)
    share = (float(lux.min()) / SUNLIGHT_LUX_PER_UMOL, float(lux.max()) / SUNLIGHT_LUX_PER_UMOL)
    claim = (low * share[0], high * share[1])
    if question.unit == "lux":
        claim = (question.reading / SUNLIGHT_LUX_PER_UMOL,) * 2
    standings = tuple(_standing(g, dli, group_sources) for g in groups)
    return Estimate(
        question=question,
        ppfd_umol_m2_s=(low, high),
        dli_mol_m2_d=dli,
        full_hours_h=full_hours,
        factors=factors,
        mixes=lux.size,
        lux_per_umol=(float(lux.min()), float(lux.max())),
        sunlight_claim_umol_m2_s=claim,
        sunlight_share=share,
        standings=standings,
        group=group,
        would_change=any(s.advice_changes for s in standings),
        settles=high <= WIDE_FACTOR * low,
        rules=_rules(standings) if group else (),
        ask=ASK,
        limits=(*LIMITS, IN_AIR) if question.where == "air" and not question.depth_m else LIMITS,
    )


def _own_factors(question: Question) -> list[Factor]:
    """Everything but colour: the meter itself, immersion, and the way down from the air."""
    own = OWN_FRACTION[question.unit]
    kind = "a hobby meter" if question.unit == "umol" else "a phone or a cheap lux meter"
    found = [
        Factor(
            f"{kind}: calibration, tilt, placement",
            1 / (1 + own),
            1 + own,
            f"+-{100 * own:.0f} %: our choice",
        )
    ]
    if question.where == "water":
        found.append(_immersion(question))
    elif question.depth_m:
        found.append(carried_down(question.depth_m, question.lamp_height_m))
    return found


def _immersion(question: Question) -> Factor:
    if question.immersion == "built in":
        return Factor("immersion is built in", 1.0, 1.0, "as stated")
    if isinstance(question.immersion, float | int):
        spread = 1 + 2 * IMMERSION_FRACTION
        stated = float(question.immersion)
        return Factor("immersion as stated", stated / spread, stated * spread, "as stated, +-4 %: our choice")
    low, high = IMMERSION_RANGE
    return Factor("immersion is not known", low, high, "1.2-1.4 from memory, widened down to none by us")


def carried_down(depth_m: float, lamp_height_m: float | None) -> Factor:
    """What of a reading in the air, at the surface, can reach a depth.

    Least: a point lamp without walls, (h / (h + d/n))^2, the lowest lamp, a surface that passes 0.93 and
    yellowed water exp(-0.5 d). Most: walls that keep all light, a surface that passes 0.98, clear water.

    Parameters
    ----------
    depth_m : float
        [m]
    lamp_height_m : float or None
        Above the water; unknown is 10 to 40 cm. [m]

    Source
    ------
    Inverse-square law with the apparent depth d/n, n 1.34; Fresnel; Beer-Lambert. Heights, yellowing: ours.
    """
    height = lamp_height_m or LAMP_HEIGHT_M[0]
    spread = (height / (height + depth_m / WATER_INDEX)) ** 2
    low = spread * SURFACE_PASSES[0] * math.exp(-WORST_YELLOWING_PER_M * depth_m)
    return Factor(
        "from the air down to the coral",
        low,
        SURFACE_PASSES[1],
        "least: a point lamp, no walls, yellowed water; most: walls that keep all light",
    )


def _standing(group: CoralGroup, dli: Range, group_sources: Mapping[str, str]) -> Standing:
    cited = tuple(group_sources.get(key, key) for key in group.sources)
    states: tuple[DliState, ...] = ("not_judged",)
    if group.band_dli is not None:
        ends = [STATES.index(dli_state(d, group.band_dli, group.floor_dli, group.ceiling_dli)) for d in dli]
        states = STATES[ends[0] : ends[1] + 1]
    deeds = {DEEDS[s] for s in states}
    return Standing(group.key, group.name, group.band_dli, states, len(deeds) > 1, group.grade, cited)


def _rules(standings: Sequence[Standing]) -> tuple[str, ...]:
    """What the range says of one group."""
    (standing,) = standings
    if standing.states == ("not_judged",):
        return ("This group lives without light: light is not the question.",)
    if standing.advice_changes:
        return ("This reading cannot rule light in or out: its range spans different advice.",)
    deed = DEEDS[standing.states[0]]
    if deed == "leave it":
        return (
            "The daily amount is usual over the whole range: too little or too much light is unlikely to be "
            "the cause. A sudden change of light may still be.",
        )
    amount = "less" if deed == "more light" else "more"
    return (
        f"Over the whole range the coral gets {amount} light than is usual for its group: light stays on the "
        f"list of causes, and {deed} is worth trying, slowly (10 % a week: common practice).",
    )
