"""What a keeper's wishes for `place` and `move` name, and where they contradict one another."""

from __future__ import annotations

import difflib
import math
from collections import Counter
from collections.abc import Iterable

from lightdose.errors import Place, Problem, SetupError
from lightdose.fit.placement_task import required_distance_m
from lightdose.model.coral import Coral, Site
from lightdose.model.placement import PlaceWishes
from lightdose.model.setup import Setup


def suggestion(name: str, known: Iterable[str]) -> str:
    """A cure that names the nearest known name.

    Parameters
    ----------
    name : str
    known : iterable of str

    Returns
    -------
    str
        Empty where none is near.

    Source
    ------
    Our wording; likeness by the standard library's difflib.
    """
    folded = {k.casefold(): k for k in known}
    near = difflib.get_close_matches(name.casefold(), list(folded), n=2, cutoff=0.5)
    return "did you mean " + " or ".join(repr(folded[n]) for n in near) + "?" if near else ""


def unknown_name(what: str, name: str, known: list[str], path: str) -> Problem:
    """The problem of a name that the setup lacks.

    Parameters
    ----------
    what : str
        "coral" or "site".
    name : str
    known : list of str
    path : str
        Of the setup.

    Returns
    -------
    Problem

    Source
    ------
    Our wording.
    """
    shown = ", ".join(known[:12]) + (f" and {len(known) - 12} more" if len(known) > 12 else "")
    hint = suggestion(name, known)
    return Problem(f"the setup has no {what} {name!r}", shown or "none", hint, Place(path))


def check_wishes(setup: Setup, wishes: PlaceWishes) -> dict[str, str]:
    """Every pinned coral and its site, from the setup and from the wishes.

    Parameters
    ----------
    setup : Setup
    wishes : PlaceWishes

    Returns
    -------
    coral -> site

    Raises
    ------
    SetupError
        If there are no corals, a name is unknown, or pins contradict one another; with every problem.

    Source
    ------
    Our choice.
    """
    if not setup.corals:
        raise SetupError(
            Problem(
                "the setup has no corals, so there is nothing to place",
                cure="add a [[coral]] with its group and site",
                place=Place(setup.path),
            )
        )
    problems = _unknown(setup, wishes)
    pins = {c.name: c.site for c in setup.corals if c.pinned}
    for coral, site in wishes.pins.items():
        if pins.get(coral, site) != site:
            problems.append(
                Problem(
                    f"{coral!r} is pinned twice: at {pins[coral]!r} by pinned = true in the setup, and at "
                    f"{site!r} by --pin",
                    "one place for a pinned coral",
                    "take out one of the two",
                )
            )
        pins.setdefault(coral, site)
    if not problems:
        problems = _contradictions(setup, wishes, pins)
    if problems:
        raise SetupError(*problems)
    return pins


def _unknown(setup: Setup, wishes: PlaceWishes) -> list[Problem]:
    corals, sites = [c.name for c in setup.corals], [s.name for s in setup.sites]
    named = [*wishes.pins, *(c for c, _ in wishes.not_at), *(c for pair in wishes.not_beside for c in pair)]
    at = [*wishes.pins.values(), *(s for _, s in wishes.not_at)]
    found = [
        unknown_name("coral", n, corals, setup.path) for n in dict.fromkeys(named) if n not in set(corals)
    ]
    found += [unknown_name("site", n, sites, setup.path) for n in dict.fromkeys(at) if n not in set(sites)]
    found += [
        Problem(f"{a!r} is to keep apart from itself", cure="name two corals")
        for a, b in wishes.not_beside
        if a == b
    ]
    return found


def _contradictions(setup: Setup, wishes: PlaceWishes, pins: dict[str, str]) -> list[Problem]:
    """Pins that cannot hold together, or not at all."""
    corals = {c.name: c for c in setup.corals}
    sites = {s.name: s for s in setup.sites}
    stood = Counter(c.site for c in setup.corals)
    found = []
    for site, count in Counter(pins.values()).items():
        if count > max(1, stood[site]):
            names = " and ".join(repr(c) for c, s in pins.items() if s == site)
            found.append(
                Problem(f"{names} are pinned to one place, {site!r}", "one coral a place", "free one of them")
            )
    for name, site in pins.items():
        if (name, site) in wishes.not_at:
            found.append(Problem(f"{name!r} is pinned at {site!r} and must not stand there", cure="drop one"))
        if corals[name].height_m > sites[site].depth_m + 1e-9:
            found.append(_too_tall(corals[name], sites[site]))
    pinned = list(pins)
    for i, name in enumerate(pinned):
        for other in pinned[i + 1 :]:
            found += _too_near(corals[name], corals[other], sites[pins[name]], sites[pins[other]], wishes)
    return found


def _too_tall(coral: Coral, site: Site) -> Problem:
    return Problem(
        f"{coral.name!r} is pinned at {site.name!r} and would leave the water: it is "
        f"{100 * coral.height_m:g} cm tall",
        f"up to {100 * site.depth_m:g} cm, the depth there",
    )


def _too_near(one: Coral, other: Coral, here: Site, there: Site, wishes: PlaceWishes) -> list[Problem]:
    least = required_distance_m(one, other, wishes)
    distance = math.dist((here.x_m, here.y_m), (there.x_m, there.y_m))
    if distance >= least - 1e-9:
        return []
    return [
        Problem(
            f"{one.name!r} and {other.name!r} are pinned {100 * distance:.1f} cm apart, at {here.name!r} and "
            f"{there.name!r}",
            f"at least {100 * least:g} cm, to keep them apart",
            "free one of them, or lower its keep_apart",
        )
    ]
