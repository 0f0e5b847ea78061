"""What a map shows, what more of the same light brings, and which corals a page shows first."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Final, TypeVar

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.judge.verdict import output_headroom
from lightdose.model.changes import CoralReturn, DiminishingReturn, Evidence
from lightdose.model.comparison import Comparison, SiteComparison
from lightdose.model.places import GroupRegion, MapSlice, Placement, Plane
from lightdose.model.plans import CoralChange, Tuning
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import CoralGroup, Setup
from lightdose.near_names import near_names
from lightdose.physics.dose import hours_at_pmax
from lightdose.quantities import METRES_PER_INCH


def group_regions(slices: Sequence[MapSlice], groups: Sequence[CoralGroup]) -> tuple[GroupRegion, ...]:
    """Each group's share of the water of every slice; groups that light does not judge are left out.

    Parameters
    ----------
    slices : sequence of MapSlice
        Their cells are of equal area.
    groups : sequence of CoralGroup

    Source
    ------
    Definition: low <= DLI <= high is within, as for a coral at a site; bands carry their sources.
    """
    regions = []
    for group in groups:
        if group.band_dli is not None:
            low, high = group.band_dli
            shares = tuple(_share(s.dli[s.water], low, high) for s in slices)
            regions.append(GroupRegion(group, group.band_dli, shares))
    return tuple(regions)


def _share(dli: FloatArray, low: float, high: float) -> float:
    """Part of the doses that lie within a range; 0 where there is none."""
    return float(np.mean((dli >= low) & (dli <= high))) if dli.size else 0.0


MOST_DEPTHS = 3
APART_M = 0.03
"""Depths nearer than this are one slice. Our choice."""

CELL_SIZES = {
    "cm": tuple(0.01 * size for size in (0.2, 0.5, 1, 2, 5, 10, 20, 50)),
    "in": tuple(METRES_PER_INCH * size for size in (0.1, 0.25, 0.5, 1, 2, 4, 8, 20)),
}
CELLS_ALONG = 90
"""Cells along the longest side of the tank at most, unless a spacing is named. Our choice."""


def default_depths(setup: Setup) -> tuple[tuple[Plane, ...], str]:
    """A few depths worth a look: those of the corals, else of the sites, else of the tank.

    Returns
    -------
    tuple of Plane, from the shallowest down; and the sentence that says how they were chosen

    Source
    ------
    Our choice: shallowest, middle and deepest.
    """
    depth = {r.name: r.depth_m for r in setup.receivers}
    tops = [depth.get(f"{c.name} (top)", depth[c.site]) for c in setup.corals]
    bottom = setup.tank.water_depth_m
    if tops:
        found, words = tops, "depths not named: the shallowest, the middle and the deepest coral"
    elif setup.sites:
        found = [s.depth_m for s in setup.sites]
        words = "depths not named: the shallowest, the middle and the deepest site"
    else:
        found = [0.25 * bottom, 0.5 * bottom, bottom]
        words = "depths not named, and no sites: a quarter, a half and all of the water's depth"
    found = sorted(min(max(d, 0.0), bottom) for d in found)
    ends = [found[0], found[len(found) // 2], found[-1]][:MOST_DEPTHS]
    kept: list[float] = []
    for at in ends:
        if not kept or at - kept[-1] >= APART_M:
            kept.append(at)
    return tuple(Plane("depth", at) for at in kept), words


def default_side_view(setup: Setup) -> tuple[Plane, str]:
    """The upright plane through the middle coral, else the middle site, else the middle of the tank.

    Returns
    -------
    Plane, and the sentence that says how it was chosen

    Source
    ------
    Our choice.
    """
    stocked = {c.site for c in setup.corals}
    at = sorted(s.y_m for s in setup.sites if s.name in stocked or not stocked)
    if not at:
        return Plane("from_front", 0.5 * setup.tank.width_m), "side view not named: the middle of the tank"
    whose = "coral" if stocked else "site"
    return Plane("from_front", at[len(at) // 2]), f"side view not named: through the middle {whose}"


def default_cell_m(setup: Setup) -> float:
    """A round spacing that cuts the longest side of the tank into some tens of cells.

    Returns
    -------
    float
        [m]

    Source
    ------
    Our choice.
    """
    tank = setup.tank
    finest = max(tank.length_m, tank.width_m, tank.water_depth_m) / CELLS_ALONG
    sizes = CELL_SIZES[setup.length_unit]
    return next((size for size in sizes if size >= finest * (1 - 1e-9)), sizes[-1])


def default_groups(setup: Setup) -> tuple[tuple[CoralGroup, ...], str]:
    """The groups of the setup's corals that light judges, in the order of the corals.

    Returns
    -------
    tuple of CoralGroup, and a sentence; empty where nothing needs saying

    Source
    ------
    Our choice.
    """
    keys: Sequence[str] = tuple(dict.fromkeys(c.group for c in setup.corals))
    groups = tuple(setup.groups[k] for k in keys if setup.groups[k].band_dli is not None)
    return groups, "" if groups else "no corals here that light judges: name groups with --group KEY"


def cell_count(setup: Setup, planes: Sequence[Plane], cell_m: float) -> int:
    """How many cells a map would have.

    Parameters
    ----------
    setup : Setup
    planes : sequence of Plane
    cell_m : float
        [m]
    """
    tank = setup.tank
    x, y, z = (
        max(1, int(np.ceil(span / cell_m - 1e-9)))
        for span in (tank.length_m, tank.width_m, tank.water_depth_m)
    )
    area = {"depth": x * y, "from_front": x * z, "from_left": y * z}
    return sum(area[plane.kind] for plane in planes)


_T = TypeVar("_T")
MOST_NAMED = 20
"""A refusal lists so many of the known names."""


def shown_receivers(analysis: Analysis, names: Sequence[str] = ()) -> tuple[int, ...]:
    """The sites of days and spectra: the named ones, else the brightest, the middle and the dimmest.

    Sites with corals come first in that choice; without any, all sites compete.

    Returns
    -------
    tuple of int
        Indices of receivers.

    Raises
    ------
    SetupError
        If a name is no site of the setup.

    Source
    ------
    Our choice: three places show the span of the doses.
    """
    sites = [s.name for s in analysis.setup.sites]
    _refuse_unknown(names, sites, "")
    if names:
        return tuple(dict.fromkeys(sites.index(name) for name in names))
    stocked = {v.site for v in analysis.verdicts}
    pool = [i for i, s in enumerate(sites) if s in stocked] or list(range(len(sites)))
    return tuple(_ends_and_middle(sorted(pool, key=lambda i: -float(analysis.dose.dli[i]))))


def shown_sites(comparison: Comparison, names: Sequence[str] = ()) -> list[SiteComparison]:
    """The sites of days and spectra: the named ones, else of the largest, a middle and the least change.

    Sites with corals come first in that choice.

    Raises
    ------
    SetupError
        If a name is no site of both.

    Source
    ------
    Our choice, as in ``shown_receivers``.
    """
    by_name = {s.site: s for s in comparison.sites}
    _refuse_unknown(names, list(by_name), " in both setups")
    if names:
        return [by_name[name] for name in dict.fromkeys(names)]
    stocked = {v.site for v in (*comparison.before.verdicts, *comparison.after.verdicts)}
    pool = [s for s in comparison.sites if s.site in stocked] or list(comparison.sites)
    return _ends_and_middle(sorted(pool, key=lambda s: -s.size))


def shown_corals(tuning: Tuning) -> list[CoralChange]:
    """The brightest, the dimmest and the most changed coral of the tuned programme, the brightest first.

    Corals that light does not judge are chosen only where there are no others.

    Source
    ------
    Our choice: who bounds the programme, and whom it changes most.
    """
    judged = [c for c in tuning.corals if c.after.band_dli is not None] or list(tuning.corals)
    ranked = sorted(judged, key=lambda c: -c.after.dli_mol_m2_d)
    if not ranked:
        return []
    most = max(judged, key=lambda c: abs(c.after.dli_mol_m2_d - c.before.dli_mol_m2_d))
    chosen = {change.after.receiver: change for change in (ranked[-1], most, ranked[0])}
    return sorted(chosen.values(), key=lambda c: -c.after.dli_mol_m2_d)


def shown_planes(placement: Placement) -> tuple[Plane, Plane]:
    """The level and the upright slice behind placed corals: at the middle depth of their tops, the middle y.

    Source
    ------
    Our choice: medians, so that most corals lie near both slices.
    """
    tops = [(c.after.spot.y_m, c.after.spot.depth_m - c.height_m) for c in placement.corals if c.after]
    tank = placement.setup.tank
    y_m, depth_m = np.median(tops, axis=0).round(3) if tops else (tank.width_m / 2, tank.water_depth_m / 2)
    return Plane("depth", max(0.0, float(depth_m))), Plane("from_front", float(y_m))


def _ends_and_middle(ordered: Sequence[_T]) -> list[_T]:
    chosen = dict.fromkeys((0, len(ordered) // 2, len(ordered) - 1)) if ordered else ()
    return [ordered[i] for i in chosen]


def _refuse_unknown(names: Sequence[str], known: Sequence[str], where: str) -> None:
    problems = []
    for name in names:
        if name not in known:
            near = near_names(name, known)
            cure = f"did you mean {near[0]!r}?" if near else ""
            allowed = ", ".join(map(repr, known[:MOST_NAMED]))
            problems.append(Problem(f"there is no site {name!r}{where}", allowed, cure))
    if problems:
        raise SetupError(*problems)


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
    Evidence("against", "symbionts in culture absorb blue of 465 nm most", _WANGPRASEURT),
    Evidence("against", "ultraviolet at 380 nm lowers calcification", _ROTH),
    Evidence(
        "against",
        "colouring and the form of the skeleton do depend on the spectrum",
        "common practice, no published source at hand",
    ),
)
"""For and against "photons matter more than their colour"; most of the sources were read as abstracts."""
