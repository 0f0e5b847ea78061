"""What readings measured stands in a setup until somebody edits it there.

A calibration says how fluxes, beams, heights, open skies and water are beside what was stated. The records of
a setup then hold the measured values. Who edits one of them states something new, and what was measured no
longer holds for it: an edit in code means what it says. Without its calibration a setup is as it was stated.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from lightdose.model.calibration import Calibration
from lightdose.model.fixture import Channel, CosineLobe, Fixture
from lightdose.model.record import dataclass

Edited = frozenset[tuple[str, str, str]]
"""Kind of parameter, and the fixture and channel, or the site, whose own was edited."""


class Parts(NamedTuple):
    """The records of a setup that hold what was measured: its fixtures, ``Site`` s and ``Water``."""

    fixtures: tuple[Fixture, ...]
    sites: tuple[Any, ...]
    water: Any


@dataclass(frozen=True, eq=False)
class Measured:
    """A calibration that is in use, with the records as they were stated and as it made them."""

    calibration: Calibration
    stated: Parts
    made: Parts


def as_measured(
    parts: Parts, calibration: Calibration | None, before: Measured | None
) -> tuple[Parts, Measured | None]:
    """Records that hold what a calibration says, and what is left of it where they were edited since.

    Parameters
    ----------
    parts : as they are now
    calibration : that is to hold; None for none
    before : what the records held until now
    """
    if before is not None and calibration is not before.calibration:
        parts, before = _as_stated(parts, before), None
    if calibration is None:
        return parts, None
    if before is None:
        made = _with(parts, calibration)
        return made, Measured(calibration, parts, made)
    if all(now is was for now, was in zip(parts, before.made, strict=True)):
        return parts, before
    edited = frozenset(_edits(parts, before))
    held = before.calibration.only(lambda p: (p.kind, p.fixture, p.channel or p.site) not in edited)
    if held is None:
        return parts, before
    return _rehung(parts, before, edited), replace(before, calibration=held)


def _with(parts: Parts, calibration: Calibration) -> Parts:
    """Beams, feet of dimming, open sky, heights and yellowing as measured; gains act on the emission."""
    water = parts.water
    if calibration.yellowing is not None:
        water = replace(water, yellowing_440_per_m=calibration.yellowing.per_m)
    sky = {s.site: min(max(s.value, 0.0), 1.0) for s in calibration.open_sky}
    return Parts(
        tuple(_measured_fixture(f, calibration) for f in parts.fixtures),
        tuple(replace(s, open_sky=sky[s.name]) if s.name in sky else s for s in parts.sites),
        water,
    )


def _measured_fixture(fixture: Fixture, calibration: Calibration) -> Fixture:
    widths = {b.nominal_fwhm_deg: b.fwhm_deg for b in calibration.beams if b.fixture == fixture.name}
    height_m = next((h.height_m for h in calibration.heights if h.fixture == fixture.name), fixture.height_m)
    foot = next((f.output for f in calibration.feet if f.fixture == fixture.name), 0.0)
    channels = tuple(_measured_channel(c, widths, foot) for c in fixture.type.channels)
    return _changed(fixture, height_m, channels)


def _measured_channel(channel: Channel, widths: Mapping[float, float], foot: float) -> Channel:
    beam = channel.beam
    if foot > 0:
        channel = replace(channel, dimming=channel.dimming.from_foot(foot))
    if isinstance(beam, CosineLobe) and beam.fwhm_deg in widths:
        return replace(channel, beam=CosineLobe(widths[beam.fwhm_deg]))
    return channel


def _changed(fixture: Fixture, height_m: float, channels: tuple[Channel, ...]) -> Fixture:
    own = fixture.type.channels
    if height_m == fixture.height_m and all(a is b for a, b in zip(channels, own, strict=True)):
        return fixture
    return replace(fixture, height_m=height_m, type=replace(fixture.type, channels=channels))


def _as_stated(parts: Parts, before: Measured) -> Parts:
    """Records without what was measured; edits stay."""
    fixtures = {
        f.name: (f, stated) for f, stated in zip(before.made.fixtures, before.stated.fixtures, strict=True)
    }
    skies = {s.name: (s, stated) for s, stated in zip(before.made.sites, before.stated.sites, strict=True)}
    sites = []
    for site in parts.sites:
        made, stated = skies.get(site.name, (site, site))
        as_made = site.open_sky == made.open_sky != stated.open_sky
        sites.append(replace(site, open_sky=stated.open_sky) if as_made else site)
    water, made_water = parts.water, before.made.water
    if water.yellowing_440_per_m == made_water.yellowing_440_per_m:
        water = replace(water, yellowing_440_per_m=before.stated.water.yellowing_440_per_m)
    return Parts(
        tuple(_stated_fixture(f, *fixtures.get(f.name, (f, f))) for f in parts.fixtures), tuple(sites), water
    )


def _stated_fixture(now: Fixture, made: Fixture, stated: Fixture) -> Fixture:
    if now is made:
        return stated
    height_m = stated.height_m if now.height_m == made.height_m else now.height_m
    pairs = zip(made.type.channels, stated.type.channels, strict=True)
    channels = {c.name: (c, before) for c, before in pairs}
    return _changed(
        now, height_m, tuple(_stated_channel(c, *channels.get(c.name, (c, c))) for c in now.type.channels)
    )


def _stated_channel(now: Channel, made: Channel, stated: Channel) -> Channel:
    beam = stated.beam if now.beam is made.beam else now.beam
    dimming = stated.dimming if now.dimming is made.dimming else now.dimming
    if beam is now.beam and dimming is now.dimming:
        return now
    return replace(now, beam=beam, dimming=dimming)


def _edits(parts: Parts, before: Measured) -> Iterator[tuple[str, str, str]]:
    """What is no longer as it was measured."""
    fixtures = {f.name: f for f in parts.fixtures}
    for made in before.made.fixtures:
        if (now := fixtures.get(made.name)) is not made:
            yield from _fixture_edits(now, made)
    skies = {s.name: s.open_sky for s in parts.sites}
    yield from (("open_sky", "", s.name) for s in before.made.sites if skies.get(s.name) != s.open_sky)
    if parts.water.yellowing_440_per_m != before.made.water.yellowing_440_per_m:
        yield "yellowing", "", ""


def _fixture_edits(now: Fixture | None, made: Fixture) -> Iterator[tuple[str, str, str]]:
    channels = {} if now is None else {c.name: c for c in now.type.channels}
    edited = [c for c in made.type.channels if not _same_light(channels.get(c.name), c)]
    yield from (("gain", made.name, c.name) for c in edited)
    if len(edited) == len(made.type.channels):  # another lamp
        yield from ((kind, made.name, "") for kind in ("gain", "beam", "height", "together", "dimming"))
        return
    if now is not None and now.height_m != made.height_m:
        yield "height", made.name, ""
    if any((own := channels.get(c.name)) is None or own.beam != c.beam for c in made.type.channels):
        yield "beam", made.name, ""


def _same_light(now: Channel | None, made: Channel) -> bool:
    """Whether a channel states the flux and the spectrum that it had when it was measured."""
    return now is not None and now.flux == made.flux and (
        now.spectrum is made.spectrum or now.spectrum == made.spectrum
    )  # fmt: skip


def _rehung(parts: Parts, before: Measured, edited: Edited) -> Parts:
    """Another lamp hangs where it was stated, not where readings of the former one put that."""
    heights = {
        made.name: (made.height_m, stated.height_m)
        for made, stated in zip(before.made.fixtures, before.stated.fixtures, strict=True)
        if ("gain", made.name, "") in edited
    }
    if not heights:
        return parts
    return parts._replace(
        fixtures=tuple(
            replace(f, height_m=heights[f.name][1]) if f.height_m == heights.get(f.name, (None,))[0] else f
            for f in parts.fixtures
        )
    )
