"""What more of the same light brings, and what trials found on colour at equal photons."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final

import numpy as np

from lightdose.judge.verdict import output_headroom
from lightdose.model.changes import CoralReturn, DiminishingReturn, Evidence
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import CoralGroup
from lightdose.physics.photosynthesis import hours_at_pmax

STEPS = 50
"""The scale of output is divided so often; the hours are exact at every division."""


def output_returns(analysis: Analysis) -> DiminishingReturn:
    """Hours at Pmax, by tanh, of every coral against overall output, over the Ek range of its group.

    Returns
    -------
    DiminishingReturn
        Without corals where nothing runs today.

    Source
    ------
    Output scales light at every moment alike, so each point is the exact day under a scaled response.
    """
    today = 1 / output_headroom(analysis.setup.lit_fixtures)
    output = np.linspace(0, 1, STEPS + 1)
    groups = analysis.setup.groups
    ranked = sorted(analysis.verdicts, key=lambda v: -v.peak_ppfd_umol_m2_s)
    shown = [v for v in ranked if groups[v.group].ek_range and v.peak_ppfd_umol_m2_s > 0]
    names = {v.coral for v in shown}
    left_out = tuple(v.coral for v in ranked if v.coral not in names)
    if not shown:
        return DiminishingReturn(output, today, (), left_out)
    scale = np.concatenate((output / today, [1.0, 1 / today, 0.5]))
    low, high = _hours(analysis, shown, scale, max), _hours(analysis, shown, scale, min)
    corals = tuple(
        _coral_return(groups[v.group], v, low[i], high[i], output.size) for i, v in enumerate(shown)
    )
    return DiminishingReturn(output, today, corals, left_out)


def _hours(
    analysis: Analysis,
    verdicts: Sequence[Verdict],
    scale: FloatArray,
    end: Callable[[tuple[float, float]], float],
) -> FloatArray:
    """Hours at Pmax with today's light times each scale, at one end of Ek; shape (n_coral, n_scale)."""
    groups = [analysis.setup.groups[v.group] for v in verdicts]
    ek = np.array([end(group.ek_range or (np.nan, np.nan)) for group in groups])
    ppfd = analysis.light_field.of("ppfd")[[v.receiver for v in verdicts]]
    light = (ppfd[:, None] * scale[:, None]).reshape(-1, ppfd.shape[1])
    hours = hours_at_pmax(light, analysis.day_curve, np.repeat(ek, scale.size), "tanh")
    return hours.reshape(len(verdicts), scale.size)


def _coral_return(
    group: CoralGroup, verdict: Verdict, low: FloatArray, high: FloatArray, curve: int
) -> CoralReturn:
    """One coral's record: the curve, then today, full and half of today."""
    assert group.ek_range is not None
    today, full, half = zip(low[curve:].tolist(), high[curve:].tolist(), strict=True)
    return CoralReturn(
        coral=verdict.coral,
        group_name=verdict.group_name,
        site=verdict.site,
        receiver=verdict.receiver,
        ek_range=group.ek_range,
        ek_model=group.ek_model,
        ek_source=group.ek_source,
        ek_assumed=group.ek_assumed,
        hours_low=low[:curve],
        hours_high=high[:curve],
        today_h=today,
        full_h=full,
        half_h=half,
        above_saturation_h=verdict.hours_above_saturation_h,
        beyond_saturation_fraction=verdict.photons_beyond_saturation_fraction,
    )


_KINZIE: Final = "Kinzie, Jokiel & York 1984, Mar Biol, 10.1007/BF00393009"
_DIPERNA: Final = "DiPerna et al. 2018, PLoS ONE 13:e0203882"
_ACROPORA: Final = "Coral Reefs 2023, 10.1007/s00338-023-02348-w (abstract, three Acropora)"
_POCILLOPORA: Final = "Pocillopora acuta, 105/157/250 umol x 12 h, 140 d, PMC7673984"
_WIJGERDE: Final = "Wijgerde et al. 2014, PLoS ONE 9:e92781"
_SCHLACHER: Final = "Schlacher, Stark & Fischer 2007, Aquaculture 269:278"
_ROTH: Final = "Roth et al. 1982, Pac Sci 36:65"
_WANGPRASEURT: Final = "Wangpraseurt et al. 2014, PLoS ONE 9:e112809"

EVIDENCE: Final = (
    Evidence("for", "blue was about equal to white for skeletal growth, green and red were less", _KINZIE),
    Evidence(
        "for",
        "the growth of Stylophora pistillata did not differ by colour at equal photons",
        f"a second study, of 2018, by the first author of {_WIJGERDE}: from memory, not checked",
    ),
    Evidence("for", "2 to 5 times the photons changed growth", f"{_DIPERNA}; {_ACROPORA}; {_POCILLOPORA}"),
    Evidence(
        "for",
        "oxygen production at equal PPFD did not change between blue- and red-weighted light",
        _WANGPRASEURT,
    ),
    Evidence(
        "against",
        "red harmed Stylophora pistillata at 256 umol/m2/s, and a half-and-half mix behaved like red",
        _WIJGERDE,
    ),
    Evidence("against", "longer wavelengths raised the growth of Acropora", _ACROPORA),
    Evidence("against", "corals did better under bluer lamps", _SCHLACHER),
    Evidence("against", "ultraviolet at 380 nm lowers calcification", _ROTH),
    Evidence(
        "against",
        "colouring and the form of the skeleton do depend on the spectrum",
        "common practice, no published source at hand",
    ),
)
"""For and against "photons matter more than their colour"; most of the sources were read as abstracts."""
