"""The results of `place` and `move` as one versioned JSON object each, unrounded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lightdose.model.placement import Move, PlacedCoral, Placement, PlacementCost, Standing
from lightdose.model.results import Caution

PLACE_FORMAT = "lightdose-place/1"
MOVE_FORMAT = "lightdose-move/1"


def place_json(placement: Placement) -> dict[str, Any]:
    """Every coral with its place, those without one, and how good the answer is proven to be.

    ``site`` is null on a grid and without a place; ``unplaced`` names corals without one; ``nearest_miss``
    is the place nearest to a coral's range where it gets none within.
    """
    plan = placement.plan
    return {
        "format": PLACE_FORMAT,
        "title": placement.setup.title,
        "basis": placement.basis.key,
        "corals": [_coral(c) for c in placement.corals],
        "unplaced": [c.coral for c in placement.unplaced],
        "out_of_range": [c.coral for c in placement.out_of_band],
        "proven_optimal": plan.proven_optimal,
        "cost": _cost(plan.cost),
        "bound": _cost(plan.bound),
        "places": plan.places,
        "notes": list(placement.notes),
        "cautions": _cautions(placement.cautions),
        "provenance": {
            "version": placement.version,
            "inputs_sha256": dict(placement.before.setup.inputs_sha256),
        },
    }


def _coral(coral: PlacedCoral) -> dict[str, Any]:
    after = coral.after
    return {
        "coral": coral.coral,
        "group": coral.group,
        "site": after.spot.site if after else None,
        "x_m": after.spot.x_m if after else None,
        "y_m": after.spot.y_m if after else None,
        "depth_m": after.spot.depth_m if after else None,
        "height_m": coral.height_m,
        "dli_mol_m2_d": after.dli_mol_m2_d if after else None,
        "dli_state": after.dli_state if after else None,
        "band_dli": list(coral.band_dli) if coral.band_dli else None,
        "pinned": coral.pinned,
        "moved_m": coral.moved_m,
        "before": {
            "site": coral.before.spot.site,
            "dli_mol_m2_d": coral.before.dli_mol_m2_d,
            "dli_state": coral.before.dli_state,
        },
        "nearest_miss": _standing(coral.nearest) if coral.nearest else None,
    }


def _standing(standing: Standing) -> dict[str, Any]:
    spot = standing.spot
    return {
        "site": spot.site,
        "x_m": spot.x_m,
        "y_m": spot.y_m,
        "depth_m": spot.depth_m,
        "dli_mol_m2_d": standing.dli_mol_m2_d,
        "dli_state": standing.dli_state,
    }


def _cost(cost: PlacementCost) -> dict[str, Any]:
    return {
        "outside_ln": cost.outside_ln,
        "middle_ln": cost.middle_ln,
        "moved_m": cost.moved_m,
        "unplaced": cost.unplaced,
    }


def _cautions(cautions: Sequence[Caution]) -> list[dict[str, str]]:
    return [{"code": c.code, "text": c.text, "source": c.source} for c in cautions]


def move_json(move: Move) -> dict[str, Any]:
    """Every move with its day, and the neighbours it shades; ``from`` is where the coral stands today."""
    wishes = move.wishes
    return {
        "format": MOVE_FORMAT,
        "title": move.title,
        "basis": move.basis.key,
        "coral": move.coral,
        "group": move.group,
        "from": {"site": move.start_site, "dli_mol_m2_d": move.start_dli},
        "to": wishes.to,
        "rise_per_week": wishes.rise_per_week,
        "step_days": wishes.step_days,
        "steps": [
            {
                "day": s.day,
                "date": s.date,
                "site": s.site,
                "x_m": s.x_m,
                "y_m": s.y_m,
                "depth_m": s.depth_m,
                "dli_mol_m2_d": s.dli_mol_m2_d,
                "rise_per_week": s.rise_per_week,
            }
            for s in move.steps
        ],
        "weeks": move.days / 7,
        "dli_state": move.end_state,
        "band_dli": list(move.band_dli) if move.band_dli else None,
        "height_m": move.height_m,
        "shades": [
            {"coral": s.coral, "site": s.site, "hidden_fraction": s.hidden_fraction, "from": list(s.sites)}
            for s in move.shaded
        ],
        "cautions": _cautions(move.cautions),
        "provenance": {"version": move.version, "inputs_sha256": dict(move.inputs_sha256)},
    }
