"""What two tanks have to do with one another: where each coral comes from, and which places are pairs."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from lightdose.errors import Place, Problem, SetupError
from lightdose.judge.comparison import same_lamps
from lightdose.model.match import PlacePair
from lightdose.model.plans import AcclimatingCoral, Origin
from lightdose.model.results import Analysis, Verdict, weaker_basis
from lightdose.model.setup import Coral
from lightdose.near_names import did_you_mean

Previous = float | Literal["unknown"]


def acclimating_corals(
    today: Analysis, other: Analysis, previous: Mapping[str, Previous], growth: float
) -> tuple[AcclimatingCoral, ...]:
    """Every coral of the other setup that light judges, with its earlier dose and its first limit.

    A dose named in ``previous`` counts first, then today's light of the coral of that name. A coral that
    today's setup lacks stands on its own `previous`; without one it is taken as unknown, and starts at or
    below the low third of its band. Where one setup serves as both, `previous` in it counts.

    Parameters
    ----------
    today, other : Analysis
        Before and after the change.
    previous : coral -> dose or "unknown"
        What the keeper says. [mol m-2 d-1]
    growth : float
        Factor that one step may rise by.

    Returns
    -------
    tuple of AcclimatingCoral
        In the order of the other setup.

    Raises
    ------
    SetupError
        If there is no coral to go by, a name is unknown, or a coral has no light before or after.

    Source
    ------
    The low third of its band for a newcomer of unknown light: common practice, no published source. Where a
    light is not measured, ``rise_at_most``.
    """
    problems = _previous_problems(other, previous)
    judged = [v for v in other.verdicts if v.band_dli is not None]
    if not judged:
        what = "no coral" if not other.verdicts else "no coral that light judges"
        problems.append(
            Problem(
                f"there is {what}, so nothing tells how fast the light may change",
                cure="add a [[coral]] with its group and site",
                place=Place(other.setup.path),
            )
        )
    corals = {c.name: c for c in other.setup.corals}
    before = {v.coral: v for v in today.verdicts}
    alone = other.basis.key != "measured"
    both = weaker_basis(today.basis, other.basis) != "measured" and not same_lamps(today.setup, other.setup)
    found = []
    for verdict in judged:
        start = _start(corals[verdict.coral], verdict, before, previous, _same(today, other))
        problem = _dark(today, other, verdict, *start)
        if problem is not None:
            problems.append(problem)
            continue
        origin, dose = start
        found.append(
            AcclimatingCoral(
                name=verdict.coral,
                group=verdict.group,
                site=verdict.site,
                origin=origin,
                before=dose,
                target=verdict.dli_mol_m2_d,
                first_limit=dose if origin == "unknown" else dose * growth,
                floor=verdict.floor_dli,
                newcomer=verdict.coral not in before,
                rise_at_most=(rise_at_most(verdict, before[verdict.coral]) if both else 1.0)
                if origin == "today"
                else (rise_at_most(verdict) if alone else 1.0),
            )
        )
    if problems:
        raise SetupError(*problems)
    return tuple(found)


def rise_at_most(new: Verdict, old: Verdict | None = None) -> float:
    """Times the calculated rise of a coral's dose that the true one may be, at the upper end of its 95 %.

    Parameters
    ----------
    new : Verdict
        Under the new light, with its certainty; without one nothing is known, and the result is 1.
    old : Verdict or None
        Under today's light where that is not known either, from other lamps.

    Returns
    -------
    float
        At least 1, and at least the upper end of the new dose over the calculated one.

    Source
    ------
    Our choice: both doses taken as log-normal and independent, so their half-widths in the logarithm add as
    squares. What they share (tank, water, model) makes the true range narrower.
    """
    if new.certainty is None:
        return 1.0
    middle, half, high = _ln_range(new)
    ends = [0.0, high]
    if old is not None and old.certainty is not None and old.certainty.interval_dli[0] > 0:
        old_middle, old_half, _ = _ln_range(old)
        ends.append(middle - old_middle + math.hypot(half, old_half))
    return math.exp(max(ends))


def _ln_range(verdict: Verdict) -> tuple[float, float, float]:
    """Middle, half-width and upper end of a dose's 95 % range in ln of the calculated dose."""
    assert verdict.certainty is not None
    low, high = (math.log(max(d, 1e-12) / verdict.dli_mol_m2_d) for d in verdict.certainty.interval_dli)
    return 0.5 * (low + high), 0.5 * (high - low), high


def _same(today: Analysis, other: Analysis) -> bool:
    """Whether both come from one file; the hashes list a setup's own file first."""
    files = [next(iter(a.setup.inputs_sha256), a.setup.path) for a in (today, other)]
    return files[0] == files[1]


def _start(
    coral: Coral,
    verdict: Verdict,
    before: Mapping[str, Verdict],
    previous: Mapping[str, Previous],
    is_same: bool,
) -> tuple[Origin, float]:
    stated = previous.get(coral.name)
    if stated is None and (is_same or coral.name not in before):
        stated = coral.previous
    if stated is None and coral.name in before:
        return "today", before[coral.name].dli_mol_m2_d
    if stated is None or stated == "unknown":
        assert verdict.band_dli is not None
        low, high = verdict.band_dli
        return "unknown", low + (high - low) / 3
    return "stated", float(stated)


def _dark(today: Analysis, other: Analysis, verdict: Verdict, origin: Origin, dose: float) -> Problem | None:
    name, site = verdict.coral, verdict.site
    if not verdict.dli_mol_m2_d > 0:
        return Problem(
            f"{name!r} gets no light at {site!r} after the change, so no step leads there",
            cure="light its site, or move it",
            place=Place(other.setup.path),
        )
    if dose > 0:
        return None
    if origin == "today":
        return Problem(
            f"{name!r} gets no light today, so no rise can be calculated from there",
            cure=f'state what it lived in: --previous "{name}=4.6" (mol/m2/day), or "{name}=unknown"',
            place=Place(today.setup.path),
        )
    return Problem(
        f"the previous dose of {name!r} is {dose:g}",
        "above 0 mol/m2/day",
        f'write --previous "{name}=unknown" if nobody knows it',
    )


def _previous_problems(other: Analysis, previous: Mapping[str, Previous]) -> list[Problem]:
    known = [c.name for c in other.setup.corals]
    return [
        Problem(
            f"--previous names the unknown coral {name!r}",
            f"corals of {other.setup.path}: {', '.join(known) or 'none'}",
            did_you_mean(name, known),
        )
        for name in previous
        if name not in known
    ]


SHOWN = 12


def place_pairs(here: Analysis, there: Analysis, words: Sequence[str]) -> tuple[PlacePair, ...]:
    """The places that each word names: a site, or a coral, which stands for the place it is judged at.

    Parameters
    ----------
    here, there : Analysis
    words : sequence of str
        HERE=THERE; a name may hold "=" itself where only one way to part the word gives known names.

    Raises
    ------
    SetupError
        With every word that names no pair, and the near names.
    """
    known_here, known_there = _places(here), _places(there)
    pairs: list[PlacePair] = []
    problems: list[Problem] = []
    if not words:
        problems.append(
            Problem("no pair of places is named", cure='name one: --pair "ridge=rock top", HERE=THERE')
        )
    for word in words:
        ways = [(word[:i].strip(), word[i + 1 :].strip()) for i, c in enumerate(word) if c == "="]
        fitting = [(a, b) for a, b in ways if a in known_here and b in known_there]
        if not ways:
            problems.append(Problem(f'--pair "{word}" is not HERE=THERE', cure='write "ridge=rock top"'))
        elif len(fitting) != 1:
            one, two = ways[0]
            problems += [
                *_unknown(word, one, known_here, here),
                *_unknown(word, two, known_there, there),
            ] or [Problem(f'--pair "{word}" can be read in {len(fitting)} ways', cure="rename a place")]
        else:
            one, two = fitting[0]
            pairs.append(PlacePair(one, two, known_here[one], known_there[two]))
    doubled = {p.there for p in pairs if sum(q.there == p.there for q in pairs) > 1}
    problems += [
        Problem(f"{name!r} is to match several places", cure="name it in one pair")
        for name in sorted(doubled)
    ]
    if problems:
        raise SetupError(*problems)
    return tuple(pairs)


def _places(analysis: Analysis) -> dict[str, int]:
    """Receiver by the name of a coral or a site; a site goes before a coral of its name."""
    receivers = {v.coral: v.receiver for v in analysis.verdicts}
    receivers |= {site.name: i for i, site in enumerate(analysis.setup.sites) if not site.implicit}
    return receivers


def _unknown(word: str, name: str, known: dict[str, int], analysis: Analysis) -> list[Problem]:
    if name in known:
        return []
    shown = ", ".join(list(known)[-SHOWN:]) or "none"
    return [
        Problem(
            f'--pair "{word}": there is no place {name!r}',
            f"sites and corals such as {shown}",
            did_you_mean(name, known),
            Place(analysis.setup.path),
        )
    ]
