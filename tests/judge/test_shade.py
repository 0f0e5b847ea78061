"""Whom a coral shades: closed cases of the geometry; who carries the toxin caution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from judge.made_tank import made_fixture, made_tank

from lightdose.analysis import analyse
from lightdose.judge.placement_record import (
    hidden_fraction,
    is_toxic,
    lamp_points,
    shaded_from,
    toxin_caution,
)
from lightdose.model.fixture import Aperture, Fixture
from lightdose.model.setup import Coral

INDEX = 1.34


def point_lamp(x_m: float) -> Fixture:
    panel = made_fixture("lamp", x_m)
    return replace(panel, type=replace(panel.type, aperture=Aperture(0.0, 0.0)))


@pytest.mark.identity
def test_post_right_above_hides_a_point_lamp() -> None:
    """Lamp, post and point on one plumb line: all is hidden; a post beside that line hides nothing."""
    lamp = point_lamp(0.3)
    assert hidden_fraction((0.3, 0.2, 0.25), 0.1, (0.3, 0.2, 0.34), [lamp], [1.0], INDEX) == 1
    assert hidden_fraction((0.36, 0.2, 0.25), 0.1, (0.3, 0.2, 0.34), [lamp], [1.0], INDEX) == 0


@pytest.mark.identity
def test_slanting_ray_is_bent_at_the_surface() -> None:
    """A post on the refracted way hides the lamp; one on the straight line through air and water does not."""
    lamp, point = point_lamp(0.55), (0.05, 0.2, 0.30)
    # Snell: at 0.18 m of air and 0.30 m of water a ray that moves 0.5 m sideways moves this far in the water.
    tangent = np.linspace(0, 5, 200_001)
    k = tangent / np.sqrt(1 + tangent**2)
    slope = k / np.sqrt(INDEX**2 - k**2)
    slope = float(slope[np.argmin(np.abs(tangent * 0.18 + slope * 0.30 - 0.5))])
    bent, straight = 0.05 + slope * 0.15, 0.05 + 0.5 * 0.15 / 0.48
    assert abs(bent - straight) > 0.02
    assert hidden_fraction((bent, 0.2, 0.16), 0.02, point, [lamp], [1.0], INDEX) == 1
    assert hidden_fraction((straight, 0.2, 0.16), 0.02, point, [lamp], [1.0], INDEX) == 0


@pytest.mark.identity
@pytest.mark.parametrize("height_m", [0.0, 0.05])
def test_flat_or_lower_coral_hides_nothing(height_m: float) -> None:
    """A coral without height, or with its top below the point, stands in nobody's light."""
    assert hidden_fraction((0.3, 0.2, 0.34), height_m, (0.3, 0.2, 0.25), [point_lamp(0.3)], [1.0], INDEX) == 0


@pytest.mark.identity
def test_hidden_share_counts_each_lamp_by_what_it_gives() -> None:
    """One of two lamps hidden: its share of the dose is lost."""
    lamps = [point_lamp(0.3), point_lamp(0.55)]
    hidden = hidden_fraction((0.3, 0.2, 0.30), 0.02, (0.3, 0.2, 0.34), lamps, [3.0, 1.0], INDEX)
    assert hidden == pytest.approx(0.75)


@pytest.mark.identity
def test_lamp_points_fill_the_turned_aperture() -> None:
    """Their mean is the middle, and a quarter turn swaps the sides."""
    lamp = made_fixture("a", 0.3)
    points = lamp_points(replace(lamp, rotation_deg=90.0))
    assert points.mean(axis=0) == pytest.approx([0.3, 0.2])
    assert np.ptp(points, axis=0) == pytest.approx([0.04, 0.08])


@pytest.mark.identity
def test_tall_coral_between_lamp_and_neighbour_is_named() -> None:
    """A 25 cm coral right beside the brain, towards a lamp, is named with a share; a flat one is not."""
    setup = made_tank()
    analysis, sand = analyse(setup, certainty=False), setup.sites[2]
    spot = replace(sand, name="beside", x_m=sand.x_m - 0.05, y_m=sand.y_m + 0.03)
    found = shaded_from(analysis, Coral("tall", "soft", "ridge", height_m=0.25), spot)
    assert [name for name, _, _ in found] == ["brain"]
    assert 0.05 < found[0][2] <= 1
    assert shaded_from(analysis, Coral("flat", "soft", "ridge"), spot) == []


@pytest.mark.pinned
def test_zoanthids_and_palythoa_are_handled_with_care() -> None:
    """By genus or by group; the words name gloves, eyes, scrubbing, boiling and drying."""
    groups = made_tank().groups
    zoanthid, soft = groups["zoanthid"], groups["soft"]
    assert is_toxic(Coral("a", "zoanthid", "s"), zoanthid)
    assert is_toxic(Coral("a", "soft", "s", genus="palythoa"), soft)
    assert not is_toxic(Coral("a", "soft", "s", genus="Sinularia"), soft)
    assert is_toxic(Coral("a", "soft", "s", genus="Zoanthus sociatus"), soft)
    text = toxin_caution(["a"]).text
    assert all(word in text for word in ("gloves", "eye", "scrub", "boil", "dry"))
