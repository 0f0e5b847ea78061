"""The result of `place` as one versioned JSON object, unrounded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lightdose.model.placement import PlacedCoral, Placement, PlacementCost, Standing
from lightdose.model.results import Caution

PLACE_FORMAT = "lightdose-place/1"


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
