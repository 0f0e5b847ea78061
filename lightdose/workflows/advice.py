"""A tank judged, and what could be done with it tried on all of its corals."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.analysis import Analysis, judged_under, light_of, scene_of
from lightdose.files.library import reference_tables
from lightdose.judge.actions import Light, advise
from lightdose.judge.drawn_light import Draw, draw_doses
from lightdose.judge.outlook import Kept, Outcome, Outlook
from lightdose.judge.uncertain_inputs import uncertain_inputs
from lightdose.model.advice import Advice
from lightdose.model.light import LightField
from lightdose.model.record import FloatArray
from lightdose.model.setup import Receiver, Setup
from lightdose.physics.emission import weighting_matrix
from lightdose.physics.field_limits import refuse_too_many_changes
from lightdose.physics.light_field import PreparedField, prepare_field

HEIGHTS_TRIED = 3
"""Two ends of a range, and the best between them."""

RAYS_FOR_HEIGHTS = 2_000_000
"""Rays up to which lamps are tried at other heights: some 2 s, twenty times a usual tank. Our choice."""

MOST_JUDGED = 500
"""Corals for which changes are tried; a larger stock is judged without advice. Our choice."""


def advised(setup: Setup, *, sides: bool = False) -> Analysis:
    """Everything `dose` reports: the analysis, with what could be done.

    ``sides`` adds the light from all sides.

    Raises
    ------
    SetupError
        If a channel of an enabled fixture has no absolute flux.
    """
    return advised_under(setup, *light_of(setup), sides=sides)


def advised_under(
    setup: Setup,
    ready: PreparedField,
    field: LightField,
    *,
    sides: bool | None = False,
    draw: Draw = draw_doses,
) -> Analysis:
    """The same from a light field that is there; ``sides`` and ``draw`` as in ``judged_under``."""
    kept = keeping(setup)
    analysis = judged_under(setup, ready, field, certainty=True, see=kept.see, sides=sides, draw=draw)
    analysis = replace(analysis, advice=advice_on(analysis, ready, kept, draw))
    if setup.standing is None:
        return analysis
    from lightdose.workflows.shadows import shadows

    return replace(analysis, shadows=shadows(analysis, ready))


def drawn_under(setup: Setup, ready: PreparedField, field: LightField) -> tuple[Analysis, Outlook | None]:
    """The analysis of a setup and its draws; None for the draws where light judges no coral, or too many."""
    kept = keeping(setup)
    analysis = judged_under(setup, ready, field, certainty=True, see=kept.see)
    return analysis, Outlook.of(analysis, kept.response) if kept.response else None


def keeping(setup: Setup) -> Kept:
    """What keeps the drawn light of every coral that light judges, and of the named sites."""
    receivers = setup.receivers
    own = {r.coral: i for i, r in enumerate(receivers) if r.coral is not None}
    at_site = {s.name: i for i, s in enumerate(setup.sites)}
    judged = [c for c in setup.corals if c.band_dli or setup.groups[c.group].band_dli]
    if not 0 < len(judged) <= MOST_JUDGED:
        return Kept(frozenset())
    named = [i for i, s in enumerate(setup.sites) if not s.implicit][:MOST_JUDGED]
    return Kept(frozenset([*named, *(own.get(c.name, at_site[c.site]) for c in judged)]))


def advice_on(analysis: Analysis, ready: PreparedField, kept: Kept, draw: Draw = draw_doses) -> Advice:
    """What could be done with an analysed tank; nothing where light judges no coral."""
    if not kept.response:
        return Advice()
    setup, known = analysis.setup, analysis.uncertainty
    assert known is not None
    bare = ready.only("ppfd")

    at_site = {s.name: i for i, s in enumerate(setup.sites)}

    def drawn(receivers: Sequence[Receiver]) -> FloatArray:
        found = {
            i: kept.response[at_site[r.site]]
            for i, r in enumerate(receivers)
            if r.coral is None and at_site[r.site] in kept.response
        }
        rest = [i for i in range(len(receivers)) if i not in found]

        def see(receiver: int, _: FloatArray, response: FloatArray) -> None:
            found[rest[receiver]] = response

        if rest:
            asked = [receivers[i] for i in rest]
            draw(uncertain_inputs(setup), bare, asked, see, draws=known.draws, seed=known.seed)
        return np.array([found[i] for i in range(len(receivers))])

    def raised(by_m: float, points: FloatArray) -> FloatArray:
        refuse_too_many_changes(setup.lit_fixtures, bare.lit, len(points), HEIGHTS_TRIED, RAYS_FOR_HEIGHTS)
        fixtures = tuple(replace(f, height_m=f.height_m + by_m) for f in setup.fixtures)
        scene = scene_of(replace(setup, fixtures=fixtures))
        weightings = weighting_matrix(reference_tables(), ("ppfd",))
        return prepare_field(scene, weightings, for_points=len(points)).at(points)[:, :, 0]

    light = Light(lambda points: bare.at(points)[:, :, 0], drawn, raised, _outcome)
    return advise(Outlook.of(analysis, kept.response), light, dials_of(setup))


def _outcome(setup: Setup) -> Outcome:
    """How the corals of a setup stand in a run of their own."""
    ready, field = light_of(setup)
    kept = keeping(setup)
    outlook = Outlook.of(judged_under(setup, ready, field, certainty=True, see=kept.see), kept.response)
    return outlook.today


def dials_of(setup: Setup) -> dict[str, float]:
    """The overall setting of every lit fixture at the plateau; 100 where its schedule has none. [%]"""
    dials = {f.name: f.programme.dial for f in setup.lit_fixtures}
    return {name: 100.0 if dial is None else round(100 * dial.plateau, 6) for name, dial in dials.items()}
