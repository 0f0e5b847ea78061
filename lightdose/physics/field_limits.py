"""The refusal of light at too many places, or in too many changes, of a tank that is lit already."""

from __future__ import annotations

from collections.abc import Sequence

from lightdose.model.fixture import Fixture
from lightdose.physics.lit_tank import LitTank
from lightdose.physics.ray_limits import HANG_HIGHER, RAYS_AT_MOST, SKINS_OVER_PLACES, refuse_too_many_rays


def refuse_too_many_places(
    fixtures: Sequence[Fixture],
    lit: LitTank,
    places: float,
    what: str,
    most: int = RAYS_AT_MOST,
    cure: str = HANG_HIGHER,
) -> None:
    """Refuse light at more places than take ``most`` rays.

    Parameters
    ----------
    fixtures : sequence of Fixture
        Those of its lamps.
    lit : LitTank
    places, what, most, cure
        As in ``refuse_too_many_rays``.

    Raises
    ------
    SetupError
        As ``refuse_too_many_rays``.
    """
    ways = [(fixture, lamp.routes) for fixture, lamp in zip(fixtures, lit.lamps, strict=True)]
    refuse_too_many_rays(ways, lit.tank, places, what, lit.values_a_ray, most, cure)


def refuse_too_many_changes(
    fixtures: Sequence[Fixture], lit: LitTank, places: int, times: int, most: int = RAYS_AT_MOST
) -> None:
    """Refuse so many changes of a tank, each of which is lit anew, floor and places.

    Parameters
    ----------
    fixtures : sequence of Fixture
        Those of its lamps.
    lit : LitTank
        As it is today.
    places, times : int
        Places at which light is asked for; changes.
    most : int
        As in ``refuse_too_many_rays``.

    Raises
    ------
    SetupError
        As ``refuse_too_many_rays``.
    """
    what = f"{times} changes that light it otherwise"
    refuse_too_many_places(fixtures, lit, times * places, what, most)
    ways = [(fixture, lamp.floor_routes) for fixture, lamp in zip(fixtures, lit.lamps, strict=True)]
    refuse_too_many_rays(ways, lit.tank, times * lit.floor_places, what, lit.values_a_ray, most)
    if lit.bounce is not None:
        from lightdose.physics.bounce import BouncedLight
        from lightdose.physics.solid_light import ways_to_skins

        assert isinstance(lit.bounce, BouncedLight)
        skins = lit.bounce.patches.skins
        on_skins, most = ways_to_skins(fixtures, lit, skins), int(SKINS_OVER_PLACES * most)
        refuse_too_many_rays(on_skins, lit.tank, times * len(skins.area_m2), what, lit.values_a_ray, most)
