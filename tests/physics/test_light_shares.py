"""Why a place is bright: shares, path and losses as weighted sums."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.model.light import LIGHT_PARTS, ChannelKey, DayCurve, LightFieldParts
from lightdose.model.setup import Receiver
from lightdose.physics.slices import SHARE_WEIGHTINGS, light_shares

HERE = Receiver("here", "here", 0.1, 0.1, 0.2, 1.0)
KEYS = (ChannelKey("left", "blue"), ChannelKey("right", "red"))
# Hours at full output: 8 and 2.
CURVE = DayCurve(
    np.array([0.0, 2.0, 8.0, 24.0]), np.array([[1, 1], [1, 0], [0, 0]]), np.array([[1, 1], [1, 0], [0, 0]])
)


def made_parts(scale: float = 1.0) -> LightFieldParts:
    """Blue: 60 straight, 30 left, 10 floor; red: 20 straight, 20 back. Blue's light is blue, red's red."""
    response = np.zeros((1, len(LIGHT_PARTS), 2, len(SHARE_WEIGHTINGS)))
    for name, channel, ppfd in (
        ("direct", 0, 60.0), ("left", 0, 30.0), ("floor", 0, 10.0), ("direct", 1, 20.0), ("back", 1, 20.0),
    ):  # fmt: skip
        colour = SHARE_WEIGHTINGS.index(("blue", "red")[channel])
        response[0, LIGHT_PARTS.index(name), channel, [0, colour]] = scale * ppfd
    unabsorbed = np.zeros((1, 2, len(SHARE_WEIGHTINGS)))
    unabsorbed[0, 0, [0, 2]] = scale * 125
    unabsorbed[0, 1, [0, 4]] = scale * 80
    return LightFieldParts(
        (HERE,), KEYS, SHARE_WEIGHTINGS, response, unabsorbed, np.array([[0.3, 0.5]]), np.array([[0.1, 0.2]])
    )


@pytest.mark.identity
def test_shares_weigh_channels_by_their_hours_and_add_to_one():
    """Photons of the day: blue 8 h x 100, red 2 h x 40; every share is a part of their sum."""
    shares = light_shares(made_parts(), CURVE)
    total = 8 * 100 + 2 * 40
    assert shares.part_share["direct"] == pytest.approx((8 * 60 + 2 * 20) / total)
    assert shares.part_share["left"] == pytest.approx(8 * 30 / total)
    assert shares.part_share["back"] == pytest.approx(2 * 20 / total)
    assert shares.part_share["floor"] == pytest.approx(8 * 10 / total)
    assert sum(shares.part_share.values()) == pytest.approx(1)
    assert [c.share for c in shares.channels] == pytest.approx([800 / total, 80 / total])
    assert [c.dli_mol_m2_d for c in shares.channels] == pytest.approx([0.0036 * 800, 0.0036 * 80])


@pytest.mark.identity
def test_path_and_loss_are_means_over_the_light_without_the_floor():
    """The path by arriving light, the surface's loss by the light before the surface."""
    shares = light_shares(made_parts(), CURVE)
    blue, red = 8 * 90.0, 2 * 40.0
    assert shares.mean_path_m == pytest.approx((0.3 * blue + 0.5 * red) / (blue + red))
    before = np.array([blue / 0.9, red / 0.8])
    assert shares.surface_loss_fraction == pytest.approx(1 - (blue + red) / before.sum())


@pytest.mark.identity
def test_absorption_is_one_less_arriving_over_unabsorbed():
    """By band and over PPFD; a band without light has none."""
    absorbed = light_shares(made_parts(), CURVE).absorbed_fraction
    assert absorbed["blue"] == pytest.approx(1 - 100 / 125)
    assert absorbed["red"] == pytest.approx(1 - 40 / 80)
    assert absorbed["ppfd"] == pytest.approx(1 - (800 + 80) / (8 * 125 + 2 * 80))
    assert absorbed["green"] is None


@pytest.mark.identity
def test_place_without_light_has_no_shares():
    """Nothing is divided by zero."""
    shares = light_shares(made_parts(0.0), CURVE)
    assert shares.part_share == {}
    assert shares.mean_path_m is None
    assert [c.share for c in shares.channels] == [0.0, 0.0]
