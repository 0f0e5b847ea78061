"""What `place` and `move` report: every coral before and after, whom it shades, and what to mind."""

from __future__ import annotations

import datetime
import itertools
import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from lightdose.judge.outlook import Outlook
from lightdose.judge.search import PenaltyCurves
from lightdose.judge.states import PENALTIES, marks_of, penalties_table
from lightdose.judge.verdict import coral_marks, dli_state
from lightdose.model.fixture import Fixture
from lightdose.model.paths import ROUNDING, fewest_steps, free_sites, looks_at, own_skies
from lightdose.model.places import (
    Choice,
    Move,
    MoveStep,
    MoveWishes,
    PlacedCoral,
    Placement,
    PlacementPlan,
    PlaceWishes,
    PossiblePlace,
    ShadedNeighbour,
    Spot,
    Standing,
)
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis, Caution, Verdict
from lightdose.model.setup import Coral, CoralGroup, Setup, Site
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.water import entry_tangent

WIDTH_PER_HEIGHT = 1.0
"""A coral is taken as an upright post as wide as it is tall: its width is not in the setup. Our choice."""

POINTS_ALONG = 5
NOTABLE = 0.05
"""Less than this share of the lamps' points hidden is not named. Our choice."""


def lamp_points(fixture: Fixture) -> FloatArray:
    """Points spread over a fixture's aperture, one for a point lamp.

    Returns
    -------
    array, shape (n, 2)
        x and y. [m]

    Source
    ------
    Midpoints of equal cells.
    """
    aperture = fixture.type.aperture
    if not aperture.length_m > 0 and not aperture.width_m > 0:
        return np.array([[fixture.x_m, fixture.y_m]])
    cells = (np.arange(POINTS_ALONG) + 0.5) / POINTS_ALONG - 0.5
    a, b = (g.ravel() for g in np.meshgrid(cells * aperture.length_m, cells * aperture.width_m))
    turn = math.radians(fixture.rotation_deg)
    return np.column_stack(
        (
            fixture.x_m + a * math.cos(turn) - b * math.sin(turn),
            fixture.y_m + a * math.sin(turn) + b * math.cos(turn),
        )
    )


def hidden_fraction(
    post: tuple[float, float, float],
    height_m: float,
    point: tuple[float, float, float],
    fixtures: Sequence[Fixture],
    share: Sequence[float],
    index: float,
) -> float:
    """Share of the lamps' straight light that a coral keeps from a point.

    Parameters
    ----------
    post : (x, y, depth)
        Where the coral stands, its foot. [m]
    height_m : float
        How tall it is. [m]
    point : (x, y, depth)
        The neighbour's top. [m]
    fixtures : sequence of Fixture
    share : sequence of float
        What each of them gives of the neighbour's dose; the sum counts as all.
    index : float
        Refractive index of the water.

    Returns
    -------
    float
        0-1.

    Source
    ------
    Snell's law; the coral as an upright post (our choice). Light off walls and floor is left out.
    """
    top, foot = post[2] - height_m, post[2]
    total = sum(share)
    if height_m <= 0 or point[2] <= top + 1e-9 or not total > 0:
        return 0.0
    to_post = np.array([post[0] - point[0], post[1] - point[1]])
    radius = 0.5 * WIDTH_PER_HEIGHT * height_m
    # No ray in the water leans more than the critical angle.
    lean = 1 / math.sqrt(max(index**2 - 1, 1e-9))
    if math.hypot(*to_post) > radius + (point[2] - top) * lean:
        return 0.0
    hidden = 0.0
    for fixture, weight in zip(fixtures, share, strict=True):
        to_lamp = lamp_points(fixture) - np.array([point[0], point[1]])
        reach = np.hypot(*to_lamp.T)
        tangent = entry_tangent(reach, fixture.height_m, np.full(reach.shape, point[2]), index)
        k = tangent / np.sqrt(1 + tangent**2)
        slope = k / np.sqrt(index**2 - k**2)
        way = to_lamp / np.maximum(reach, 1e-12)[:, None]
        start, end = slope * max(0.0, point[2] - foot), slope * (point[2] - top)
        nearest = np.clip(way @ to_post, start, end)
        gap = np.hypot(*(way * nearest[:, None] - to_post).T)
        hidden += weight / total * float(np.mean(gap < radius))
    return hidden


TOXIC_GENERA = ("palythoa", "zoanthus")
PRACTICE = "common practice, no published source"
RISE_PRACTICE = "common practice, no published rule per week"
OUR_CHOICE = "our choice"
SUDDEN_RISE = WEEKLY_RISE = 0.10
SHOWN_AT_MOST = 6
"""Corals whose best places are told each by itself: our choice."""

NAMED = 6


def place_penalty(
    analysis: Analysis, response: Mapping[int, FloatArray]
) -> Callable[[Sequence[str], FloatArray], FloatArray]:
    """What gives the penalty of corals by name at calculated doses (n_coral, n_place).

    Parameters
    ----------
    analysis : Analysis
        With its uncertainty.
    response : receiver -> drawn PPFD at full output, (n_channel, n_draw)
        A coral without a place is as sure as a place that was drawn.

    Source
    ------
    ``PenaltyCurves``: a coral is as sure at another place as it is today.
    """
    setup = analysis.setup
    placed = [v for v in analysis.verdicts if v.band_dli is not None]
    stated = np.array([v.dli_mol_m2_d for v in placed])
    drawn = stated[:, None]
    if response and placed:
        outlook = Outlook.of(analysis, response)
        drawn = outlook.doses_today
    lit = [i for i in range(len(placed)) if stated[i] > 0]
    sure = drawn[lit[0]] / stated[lit[0]] if lit else np.ones(1)
    counts = penalties_table(placed)
    corals = {placed[i].coral: (float(stated[i]), drawn[i], marks_of(placed[i]), counts[i]) for i in lit}
    for coral in (*setup.corals, *setup.unplaced):
        if coral.name not in corals and (marks := coral_marks(setup, coral)):
            corals[coral.name] = 1.0, sure, marks, PENALTIES
    if not corals:
        return lambda _, dli: np.zeros_like(dli)
    row = {name: i for i, name in enumerate(corals)}
    curves = PenaltyCurves.drawn(
        np.array([one for one, *_ in corals.values()]),
        np.array([draws for _, draws, *_ in corals.values()]).reshape(len(corals), -1),
        np.array([marks for *_, marks, _ in corals.values()]).reshape(-1, 4),
        np.array([counts for *_, counts in corals.values()]),
    )

    def penalty(names: Sequence[str], dli: FloatArray) -> FloatArray:
        found = np.zeros_like(dli)
        for i, name in enumerate(names):
            if name in row:
                found[i] = curves.one(row[name], dli[i])
        return found

    return penalty


def placement_record(
    before: Analysis,
    after: Analysis,
    plan: PlacementPlan,
    wishes: PlaceWishes,
    today: Mapping[str, Spot],
    light: Callable[[FloatArray, FloatArray | None], FloatArray],
) -> Placement:
    """A plan judged: what every coral gets before and after.

    Parameters
    ----------
    before, after : Analysis
        Of today's places and of the new ones.
    plan : PlacementPlan
    wishes : PlaceWishes
    today : coral -> Spot
    light : callable
        PPFD of every channel at full output under open sky, at points (n, 3). [umol m-2 s-1]
    """
    setup = before.setup
    now, then = ({v.coral: v for v in side.verdicts} for side in (before, after))
    skies = own_skies(setup)
    shown = set(wishes.corals) or {c.name for c in setup.unplaced}
    corals = []
    for coral in (*setup.corals, *setup.unplaced):
        spot, stood = plan.spots[coral.name], today.get(coral.name)
        was = _standing(stood, now.get(coral.name))
        group = setup.groups[coral.group]
        corals.append(
            PlacedCoral(
                coral=coral.name,
                group=group.key,
                group_name=group.name,
                genus=coral.genus,
                height_m=coral.height_m,
                open_sky=skies[coral.name],
                pinned=coral.name in plan.pinned,
                band_dli=coral.band_dli or group.band_dli,
                before=was,
                after=_standing(spot, then.get(coral.name)),
                best=_possible(before, coral, plan.choices.get(coral.name, ()), wishes, light)
                if coral.name in shown and len(shown) <= SHOWN_AT_MOST
                else (),
                moved_m=_distance(stood, spot),
            )
        )
    return Placement(
        setup=after.setup,
        before=before,
        after=after,
        corals=tuple(corals),
        plan=plan,
        wishes=wishes,
        cautions=(*_near_cautions(setup, plan, wishes), *_place_cautions(before, after, corals)),
    )


def _standing(spot: Spot | None, verdict: Verdict | None) -> Standing | None:
    if spot is None or verdict is None:
        return None
    return Standing(spot, verdict.dli_mol_m2_d, verdict.dli_state, verdict.dli_verdict)


def _distance(stood: Spot | None, spot: Spot | None) -> float:
    if stood is None or spot is None:
        return 0.0
    return math.dist((spot.x_m, spot.y_m, spot.depth_m), (stood.x_m, stood.y_m, stood.depth_m))


def _possible(
    before: Analysis,
    coral: Coral,
    choices: Sequence[Choice],
    wishes: PlaceWishes,
    light: Callable[[FloatArray, FloatArray | None], FloatArray],
) -> tuple[PossiblePlace, ...]:
    """The best places for one coral: what it gets, who stands beside it, and how it gets there."""
    setup = before.setup
    sites = {s.name: s for s in setup.sites}
    band = coral.band_dli or setup.groups[coral.group].band_dli
    floor, _, _, ceiling = coral_marks(setup, coral) or (0.0, 0.0, math.inf, math.inf)
    start = next((v.dli_mol_m2_d for v in before.verdicts if v.coral == coral.name), 0.0)
    free = free_sites(setup, coral)
    tops = np.array([(s.x_m, s.y_m, max(0.0, s.depth_m - coral.height_m)) for s in free]).reshape(-1, 3)
    sky = np.array([s.open_sky for s in free]) * own_skies(setup)[coral.name]
    doses = np.zeros(0)
    if free:
        doses = sky * daily_light_integral(light(tops, looks_at(free, coral.face)), before.day_curve)
    ways: Sequence[tuple[int, ...] | None] = [None] * len(free)
    if start > 0:
        ways = fewest_steps(start, doses, 1 + WEEKLY_RISE, floor)
    found = []
    for choice in choices:
        at = choice.spot
        others = [(c.name, sites[c.site]) for c in setup.corals if c.name != coral.name]
        near = [name for name, s in others if math.dist((s.x_m, s.y_m), (at.x_m, at.y_m)) < wishes.beside_m]
        way = next((w for s, w in zip(free, ways, strict=True) if s.name == at.name), None)
        standing = Standing(at, choice.dli_mol_m2_d, dli_state(choice.dli_mol_m2_d, band, floor, ceiling))
        steps = None if way is None else tuple(free[k].name for k in way)
        found.append(PossiblePlace(standing, tuple(near), steps))
    return tuple(found)


def _place_cautions(before: Analysis, after: Analysis, corals: Sequence[PlacedCoral]) -> tuple[Caution, ...]:
    found = []
    moving = [c for c in corals if c.moves and c.after is not None]
    sudden = [
        c
        for c in moving
        if c.after is not None
        and c.before is not None
        and c.band_dli is not None
        and c.after.dli_mol_m2_d > c.before.dli_mol_m2_d * (1 + SUDDEN_RISE)
    ]
    if sudden:
        found.append(
            Caution(
                "rise_by_moving",
                f"More than 10 % brighter at once for {_names([c.coral for c in sudden])}: take such a coral "
                "there in weekly steps (`lightdose move`).",
                RISE_PRACTICE,
            )
        )
    found += _shade_cautions(after, [c.coral for c in moving])
    groups = before.setup.groups
    by_name = {c.name: c for c in (*before.setup.corals, *before.setup.unplaced)}
    toxic = [c.coral for c in moving if is_toxic(by_name[c.coral], groups[c.group])]
    if toxic:
        found.append(toxin_caution(toxic))
    return tuple(found)


def _near_cautions(setup: Setup, plan: PlacementPlan, wishes: PlaceWishes) -> list[Caution]:
    """Corals that may move and are left nearer to others than they should stand, as they stand today."""
    placed = [c for c in (*setup.corals, *setup.unplaced) if plan.spots[c.name] is not None]
    spots = [plan.spots[c.name] for c in placed]
    at = np.array([(s.x_m, s.y_m) for s in spots if s is not None]).reshape(-1, 2)
    farthest = max((c.keep_apart_m for c in placed), default=0.0)
    farthest = max(farthest, wishes.apart_m, wishes.beside_m if wishes.not_beside else 0.0)
    near = []
    for i, coral in enumerate(placed):
        if coral.name not in plan.choices:
            continue
        level_m = np.hypot(*(at - at[i]).T)
        for j in np.flatnonzero(level_m < farthest - ROUNDING):
            other, first = placed[j], i < j or placed[j].name not in plan.choices
            asked = wishes.least_apart_m(coral, other)
            if i != j and first and level_m[j] < asked - ROUNDING:
                how_far = f"{100 * level_m[j]:.3g} of {100 * asked:.3g} cm"
                near.append((level_m[j] / asked, f"{coral.name} and {other.name} ({how_far})"))
    if not near:
        return []
    what = "No placement was found that parts them and takes a place from no coral: give one another site."
    if wishes.moves is not None:
        what = (
            "Few moves leave that as it is: --all parts them where there is room, or give one another site."
        )
    text = f"Nearer than they should stand: {_names([pair for _, pair in sorted(near)])}. {what}"
    return [Caution("too_near", text, "keep_apart, or what was asked for")]


def _shade_cautions(after: Analysis, moving: Sequence[str]) -> list[Caution]:
    """Moved corals that would stand in the light of others."""
    sites = {s.name: s for s in after.setup.sites}
    found = []
    for coral in after.setup.corals:
        if coral.name in moving and coral.height_m > 0 and not has_body(coral):
            shaded = shaded_from(after, coral, sites[coral.site])
            if shaded:
                whom = _names([f"{n} (about {100 * f:.0f} %)" for n, _, f in shaded])
                found.append(
                    Caution(
                        "shade",
                        f"{coral.name}, {100 * coral.height_m:g} cm tall, would hide part of the lamps' "
                        f"straight light from {whom}; no dose here knows of that.",
                        "geometry; taken as an upright post as wide as tall, our choice",
                    )
                )
    return found


def shaded_from(analysis: Analysis, coral: Coral, site: Site) -> list[tuple[str, str, float]]:
    """Corals that would lose straight light to one that stands at a site.

    Parameters
    ----------
    analysis : Analysis
        Its other corals are the neighbours, at their judged places.
    coral : Coral
    site : Site

    Returns
    -------
    list of (coral, its site, share hidden)
        Those that lose a twentieth or more, most first.
    """
    setup, field = analysis.setup, analysis.light_field
    fixtures = setup.lit_fixtures
    order = {f.name: i for i, f in enumerate(fixtures)}
    found = []
    for verdict in analysis.verdicts:
        if verdict.coral == coral.name or verdict.band_dli is None:
            continue
        at = field.receivers[verdict.receiver]
        share = [0.0] * len(fixtures)
        for key, dli in zip(field.channels, analysis.dose.dli_by_channel[verdict.receiver], strict=True):
            share[order[key.fixture]] += float(dli)
        hidden = hidden_fraction(
            (site.x_m, site.y_m, site.depth_m),
            coral.height_m,
            (at.x_m, at.y_m, at.depth_m),
            fixtures,
            share,
            setup.water.refractive_index,
        )
        if hidden >= NOTABLE:
            found.append((verdict.coral, verdict.site, hidden))
    return sorted(found, key=lambda f: -f[2])


def has_body(coral: Coral) -> bool:
    """Whether doses know what a coral shades: its colony stands in the setup."""
    return coral.diameter_m > 0 and coral.form != "none"


def is_toxic(coral: Coral, group: CoralGroup) -> bool:
    """Whether a coral is a zoanthid or of a group that holds them.

    Source
    ------
    Palytoxin in Palythoa and some Zoanthus: from memory, common knowledge of the trade.
    """
    genus = (coral.genus or "").split()[:1]
    return any(g.casefold() in TOXIC_GENERA for g in (*genus, *group.genera))


def toxin_caution(names: Sequence[str]) -> Caution:
    """The caution on handling zoanthids.

    Source
    ------
    Common practice; palytoxin from memory.
    """
    return Caution(
        "safety_toxin",
        f"Safety: {_names(names)} may hold palytoxin, as zoanthids and Palythoa do. Wear gloves and eye "
        "protection, keep it off broken skin, and never scrub, boil or dry it or the rock it sits on; rinse "
        "gloves and tools, and let nobody breathe the spray.",
        "common practice, no published source; the toxin from memory",
    )


def move_record(
    before: Analysis, wishes: MoveWishes, start_dli: float, sites: Sequence[Site], dli: Sequence[float]
) -> Move:
    """A way of stepping stones, dated and judged.

    Parameters
    ----------
    before : Analysis
    wishes : MoveWishes
    start_dli : float
        [mol m-2 d-1]
    sites, dli : sequence
        The stones in order, and the coral's dose at each. [mol m-2 d-1]

    Source
    ------
    Rise scaled to a week: (D / D before)^(7 / days) - 1.
    """
    setup = before.setup
    coral = next(c for c in setup.corals if c.name == wishes.coral)
    verdict = next(v for v in before.verdicts if v.coral == wishes.coral)
    steps = []
    earlier = start_dli
    for index, (site, dose) in enumerate(zip(sites, dli, strict=True)):
        day = index * wishes.step_days
        rise = (dose / earlier) ** (7 / wishes.step_days) - 1 if earlier > 0 else 0.0
        steps.append(
            MoveStep(day, _date(wishes.start, day), site.name, site.x_m, site.y_m, site.depth_m, dose, rise)
        )
        earlier = dose
    shaded = _shaded_on_the_way(before, coral, sites)
    return Move(
        before=before,
        coral=coral.name,
        group=verdict.group,
        height_m=coral.height_m,
        band_dli=verdict.band_dli,
        start_site=coral.site,
        start_dli=start_dli,
        end_state=dli_state(steps[-1].dli_mol_m2_d, verdict.band_dli, verdict.floor_dli, verdict.ceiling_dli),
        steps=tuple(steps),
        shaded=shaded,
        wishes=wishes,
        cautions=_move_cautions(coral, setup.groups[coral.group], start_dli, steps, wishes),
    )


def _date(start: str | None, day: int) -> str | None:
    if start is None:
        return None
    return (datetime.date.fromisoformat(start) + datetime.timedelta(days=day)).isoformat()


def _shaded_on_the_way(before: Analysis, coral: Coral, sites: Sequence[Site]) -> tuple[ShadedNeighbour, ...]:
    most: dict[str, ShadedNeighbour] = {}
    for site in sites:
        for name, at, hidden in shaded_from(before, coral, site):
            known = most.get(name)
            stones = (*(known.sites if known else ()), site.name)
            most[name] = ShadedNeighbour(name, at, max(hidden, known.hidden_fraction if known else 0), stones)
    return tuple(sorted(most.values(), key=lambda s: -s.hidden_fraction))


def _move_cautions(
    coral: Coral, group: CoralGroup, start_dli: float, steps: Sequence[MoveStep], wishes: MoveWishes
) -> tuple[Caution, ...]:
    rise = wishes.rise_per_week
    found = []
    if rise > 0.25 + 1e-12:
        found.append(
            Caution("rise_too_fast", f"Warning: {100 * rise:g} % a week is above 25 %.", RISE_PRACTICE)
        )
    elif rise > 0.10 + 1e-12:
        found.append(
            Caution(
                "rise_fast", f"Caution: {100 * rise:g} % a week is more than the usual 10 %.", RISE_PRACTICE
            )
        )
    doses = [start_dli, *(s.dli_mol_m2_d for s in steps)]
    if any(b < 0.5 * a for a, b in itertools.pairwise(doses)):
        found.append(
            Caution("deep_cut", "Caution: one step takes more than half of the light at once.", OUR_CHOICE)
        )
    found.append(
        Caution(
            "one_change_at_a_time",
            "Leave the programme as it is in these weeks: a change of the programme and a move multiply. "
            "If the coral pales or stays closed, hold the step and look at heat, nutrients, salinity, pests.",
            OUR_CHOICE,
        )
    )
    if is_toxic(coral, group):
        found.append(toxin_caution([coral.name]))
    return tuple(found)


def _names(names: Sequence[str]) -> str:
    shown = list(names[:NAMED])
    rest = len(names) - len(shown)
    return ", ".join(shown) + (f" and {rest} more" if rest > 0 else "")
