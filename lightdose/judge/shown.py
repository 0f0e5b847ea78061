"""What stands for all in figures: the places that are named, else the ends and the middle of a list."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.model.comparison import Comparison, SiteComparison
from lightdose.model.places import Placement, Plane
from lightdose.model.plans import CoralChange, Tuning
from lightdose.model.results import Analysis
from lightdose.near_names import near_names

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

    Source
    ------
    Our choice: who bounds the programme, and whom it changes most.
    """
    ranked = sorted(tuning.corals, key=lambda c: -c.after.dli_mol_m2_d)
    if not ranked:
        return []
    most = max(tuning.corals, key=lambda c: abs(c.after.dli_mol_m2_d - c.before.dli_mol_m2_d))
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
