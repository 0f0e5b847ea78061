"""Each coral's light against the usual light of its group. The daily dose leads; the peak only cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np

from lightdose.judge.plain_words import light_sentence
from lightdose.model.fixture import Fixture
from lightdose.model.light import DayCurve, Dose, LightField
from lightdose.model.results import DliState, PeakState, Verdict
from lightdose.model.setup import Coral, CoralGroup, Setup

if TYPE_CHECKING:
    from lightdose.model.solids import Face
from lightdose.physics.dose import hours_at_pmax, over_ek_range

FLAT = "on a flat spot"

DIM_EDGE = 1.5
"""A group likes shade whose usual range begins at so little. Our choice. [mol m-2 d-1]"""

OWN_BAND_SOURCE = "the keeper's own range for this coral"


def judge_corals(
    setup: Setup, field: LightField, dose: Dose, curve: DayCurve | None = None
) -> tuple[Verdict, ...]:
    """A verdict and one sentence on the light of every coral, in the order of the setup.

    Parameters
    ----------
    setup : Setup
        Corals, groups, sites and the citations behind short source keys.
    field : LightField
        Its receivers are the sites, then the tops of corals that stand off their site.
    dose : Dose
        Of the same receivers. [mol m-2 d-1, umol m-2 s-1]
    curve : DayCurve or None
        The day, for hours at Pmax and above saturation; without it the verdicts hold none.

    Source
    ------
    Bands, floors and ceilings carry their sources in the groups; states by our definition: floor <= D < low
    is below, low <= D <= high within, high < D <= ceiling above.
    """
    own = {r.coral: i for i, r in enumerate(field.receivers) if r.coral is not None}
    at_site = {r.name: i for i, r in enumerate(field.receivers) if r.coral is None}
    receivers = [own.get(coral.name, at_site[coral.site]) for coral in setup.corals]
    saturation = _saturation(setup, field, curve, receivers)
    verdicts = []
    solid = setup.standing is not None
    for coral, receiver, saturated in zip(setup.corals, receivers, saturation, strict=True):
        face = field.receivers[receiver].face
        by_light = face_words(face) if face else FLAT if solid else ""
        verdict = _verdict(setup, field, dose, coral, receiver, by_light=by_light, **saturated)
        said = light_sentence(
            verdict,
            own_band=coral.band_dli is not None,
            floor_harm="" if coral.band_dli else setup.groups[coral.group].floor_harm,
            previous_mol_m2_d=coral.previous if isinstance(coral.previous, float | int) else None,
        )
        verdicts.append(replace(verdict, advice=said))
    return tuple(verdicts)


def face_words(face: Face) -> str:
    """The receiver of a coral that does not look up: "on its front face".

    Parameters
    ----------
    face : Face

    Source
    ------
    Our choice of words.
    """
    word = face.word
    return f"on its face ({word})" if " " in word else f"on its {word} face"


def likes_shade(band_dli: tuple[float, float] | None) -> bool:
    """Whether a usual range is one of dim light.

    Parameters
    ----------
    band_dli : (low, high) or None
        [mol m-2 d-1]

    Source
    ------
    Our choice: the range begins at ``DIM_EDGE`` or below.
    """
    return band_dli is not None and band_dli[0] <= DIM_EDGE


def _verdict(
    setup: Setup, field: LightField, dose: Dose, coral: Coral, receiver: int, **more: Any
) -> Verdict:
    """The verdict without its advice; ``more`` are further fields of it."""
    group = setup.groups[coral.group]
    band, floor, ceiling = _dli_marks(coral, group)
    peak_band = _peak_band(coral, group)
    dli, hour = float(dose.dli[receiver]), float(dose.brightest_hour_ppfd[receiver])
    return Verdict(
        coral=coral.name,
        group=group.key,
        group_name=group.name,
        site=coral.site,
        receiver=receiver,
        dli_mol_m2_d=dli,
        peak_ppfd_umol_m2_s=float(dose.peak_ppfd[receiver]),
        brightest_hour_ppfd_umol_m2_s=hour,
        judged_at_depth_m=field.receivers[receiver].depth_m,
        dli_state=dli_state(dli, band, floor, ceiling),
        peak_state=peak_state(hour, peak_band),
        band_dli=band,
        band_peak=peak_band,
        floor_dli=floor,
        ceiling_dli=ceiling,
        advice="",
        grade=group.grade,
        sources=_sources(setup, coral, group),
        **more,
    )


def _saturation(
    setup: Setup, field: LightField, curve: DayCurve | None, receivers: Sequence[int]
) -> list[dict[str, Any]]:
    """The fields of each verdict on photosynthesis; empty for corals whose group has no Ek."""
    found: list[dict[str, Any]] = [{} for _ in receivers]
    groups = [setup.groups[coral.group] for coral in setup.corals]
    known = [i for i, group in enumerate(groups) if group.ek_range is not None]
    if curve is None or not known:
        return found
    ppfd = field.of("ppfd")
    response = ppfd[[receivers[i] for i in known]]
    ends = np.array([groups[i].ek_range for i in known], dtype=np.float64)
    low, high = ends.min(axis=1), ends.max(axis=1)
    values = over_ek_range(response, curve, low, high, "tanh")
    least_own, most_own = (end.copy() for end in values["hours_at_pmax_h"])
    models = np.array([groups[i].ek_model for i in known])
    for model in sorted({groups[i].ek_model for i in known} - {"tanh"}):
        rows = models == model
        least_own[rows] = hours_at_pmax(response[rows], curve, high[rows], model)
        most_own[rows] = hours_at_pmax(response[rows], curve, low[rows], model)
    values["hours_at_pmax_own_curve_h"] = (least_own, most_own)
    for name, (least, most) in values.items():
        for i, one, other in zip(known, least.tolist(), most.tolist(), strict=True):
            found[i][name] = None if math.isnan(one) else (one, other)
    return found


def dli_state(
    dli_mol_m2_d: float,
    band_dli: tuple[float, float] | None,
    floor_dli: float | None,
    ceiling_dli: float | None,
) -> DliState:
    """Where a daily dose stands against a band.

    Parameters
    ----------
    dli_mol_m2_d : float
        [mol m-2 d-1]
    band_dli : (low, high) or None
        None for groups that light does not judge. [mol m-2 d-1]
    floor_dli, ceiling_dli : float or None
        Marks of "far below" and "far above"; None means there is no such mark. [mol m-2 d-1]

    Returns
    -------
    str
        far_below, below, within, above, far_above or not_judged.

    Source
    ------
    Definition: floor <= D < low is below, low <= D <= high within, high < D <= ceiling above.
    """
    if band_dli is None:
        return "not_judged"
    low, high = band_dli
    if dli_mol_m2_d < low:
        return "far_below" if floor_dli is not None and dli_mol_m2_d < floor_dli else "below"
    if dli_mol_m2_d <= high:
        return "within"
    return "far_above" if ceiling_dli is not None and dli_mol_m2_d > ceiling_dli else "above"


def peak_state(brightest_hour_umol_m2_s: float, band_peak: tuple[float, float] | None) -> PeakState | None:
    """Where the mean of the brightest hour stands against a midday band.

    Parameters
    ----------
    brightest_hour_umol_m2_s : float
        Mean PPFD of the brightest 60 minutes. [umol m-2 s-1]
    band_peak : (low, high) or None
        Usual midday PPFD. [umol m-2 s-1]

    Returns
    -------
    str or None
        low, within or high; None without a band.

    Source
    ------
    Definition; bands are common practice, no published source.
    """
    if band_peak is None:
        return None
    if brightest_hour_umol_m2_s < band_peak[0]:
        return "low"
    return "within" if brightest_hour_umol_m2_s <= band_peak[1] else "high"


def output_headroom(fixtures: tuple[Fixture, ...]) -> float:
    """How many times all outputs could rise together before the first channel runs at full.

    Parameters
    ----------
    fixtures : tuple of Fixture
        The lit fixtures.

    Returns
    -------
    float
        1 where a channel already runs at full; infinity where nothing runs.
    """
    highest = 0.0
    for fixture in fixtures:
        dimming = {c.name: c.dimming for c in fixture.type.channels}
        for name, programme in fixture.programme.channels.items():
            level = float(programme.level.max())
            if level > 0:
                highest = max(highest, float(np.interp(level, dimming[name].level, dimming[name].output)))
    return 1 / highest if highest > 0 else math.inf


def _dli_marks(
    coral: Coral, group: CoralGroup
) -> tuple[tuple[float, float] | None, float | None, float | None]:
    """Band, floor and ceiling for one coral; its own band moves a floor or ceiling that it passes."""
    if coral.band_dli is None:
        return group.band_dli, group.floor_dli, group.ceiling_dli
    low, high = coral.band_dli
    floor = None if group.floor_dli is None else min(group.floor_dli, low)
    ceiling = None if group.ceiling_dli is None else max(group.ceiling_dli, high)
    return coral.band_dli, floor, ceiling


def coral_marks(setup: Setup, coral: Coral) -> tuple[float, ...]:
    """Floor, low, high and ceiling of a coral; empty where light does not judge it. [mol m-2 d-1]"""
    band, floor, ceiling = _dli_marks(coral, setup.groups[coral.group])
    if band is None:
        return ()
    return 0.0 if floor is None else floor, *band, math.inf if ceiling is None else ceiling


def _peak_band(coral: Coral, group: CoralGroup) -> tuple[float, float] | None:
    if coral.peak_max is None:
        return group.band_peak
    low = group.band_peak[0] if group.band_peak else 0.0
    return min(low, coral.peak_max), coral.peak_max


def _sources(setup: Setup, coral: Coral, group: CoralGroup) -> tuple[str, ...]:
    cited = tuple(setup.group_sources.get(key, key) for key in group.sources)
    own = coral.band_dli is not None or coral.peak_max is not None
    return (OWN_BAND_SOURCE, *cited) if own else cited
