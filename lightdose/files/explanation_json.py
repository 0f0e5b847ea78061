"""Why a place is as bright as it is, as one versioned JSON object."""

from __future__ import annotations

from typing import Any

from lightdose.model.places import LightExplanation

EXPLANATION_FORMAT = "lightdose-map-explain/1"


def explanation_json(why: LightExplanation) -> dict[str, Any]:
    """Everything that is told of the place, unrounded; shares are 0-1."""
    here = why.receiver
    return {
        "format": EXPLANATION_FORMAT,
        "title": why.setup.title,
        "basis": why.basis.key,
        "site": here.site or None,
        "x_m": here.x_m,
        "y_m": here.y_m,
        "depth_m": here.depth_m,
        "open_sky": here.open_sky,
        "dli_mol_m2_d": why.dli_mol_m2_d,
        "peak_ppfd_umol_m2_s": why.peak_ppfd_umol_m2_s,
        "full_output_ppfd_umol_m2_s": why.full_output_ppfd_umol_m2_s,
        "shares_by": "day" if why.by_day else "full output",
        "part_share": dict(why.part_share) or None,
        "wall_share": why.wall_share if why.part_share else None,
        "mean_path_m": why.mean_path_m,
        "surface_loss_fraction": why.surface_loss_fraction,
        "absorbed_fraction": dict(why.absorbed_fraction),
        "level_median_dli_mol_m2_d": why.level_median_dli,
        "level_rank": why.level_rank,
        "fixtures": [{"fixture": name, "share": share} for name, share in why.fixture_shares().items()],
        "channels": [
            {
                "fixture": channel.fixture,
                "channel": channel.channel,
                "share": channel.share,
                "dli_mol_m2_d": channel.dli_mol_m2_d,
                "full_output_ppfd_umol_m2_s": channel.full_output_ppfd_umol_m2_s,
                "mean_path_m": channel.mean_path_m,
                "surface_loss_fraction": channel.surface_loss_fraction,
            }
            for channel in why.channels
        ],
        "provenance": {"version": why.version, "inputs_sha256": dict(why.setup.inputs_sha256)},
    }
