"""Random small tanks: drawn as plain values, written as a keeper would write them, read and analysed."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, replace
from pathlib import Path

from hypothesis import strategies as st

from lightdose.analysis import analyse
from lightdose.files.setup_file import read_setup
from lightdose.files.units import format_time
from lightdose.model.results import Analysis

MINUTES_A_DAY = 24 * 60
CM_PER_INCH = 2.54

Point = tuple[int, float]
"""Minute of the day, past 1440 after midnight, and level in percent."""


@dataclass(frozen=True)
class Channel:
    """A channel and its own course through the day."""

    name: str
    peak_nm: int
    flux_umol_s: float
    fwhm_deg: int
    dimming: tuple[tuple[int, int], ...]
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Lamp:
    """A fixture; ``aperture_cm`` is None for a point."""

    name: str
    channels: tuple[Channel, ...]
    x_cm: float
    y_cm: float
    height_cm: float
    rotation_deg: int
    aperture_cm: tuple[float, float] | None
    output_scale: float = 1.0


@dataclass(frozen=True)
class Spot:
    """A site, with a coral on it where a group is named."""

    name: str
    x_cm: float
    y_cm: float
    depth_cm: float
    open_sky: float
    group: str | None


@dataclass(frozen=True)
class DrawnTank:
    """Everything of a setup that a property may change."""

    length_cm: float
    width_cm: float
    depth_cm: float
    glass_mm: int
    walls: tuple[str, str, str, str]
    floor: float
    yellowing: float
    lamps: tuple[Lamp, ...]
    spots: tuple[Spot, ...]
    calibration: str = ""

    def with_lamps(self, *lamps: Lamp) -> DrawnTank:
        """The same tank under other lamps."""
        return replace(self, lamps=lamps)


def write(tank: DrawnTank, folder: Path, unit: str = "cm") -> Path:
    """Write the tank's files with lengths in ``unit`` ("cm" or "in") and give the path of its setup."""

    def length(cm: float) -> str:
        return f'"{cm!r} cm"' if unit == "cm" else f'"{cm / CM_PER_INCH!r} in"'

    walls = ", ".join(f'{side} = "{kind}"' for side, kind in zip(SIDES, tank.walls, strict=True))
    lines = ['format = "lightdose-setup/1"', 'title = "drawn (invented)"']
    if tank.calibration:
        (folder / "calibration.toml").write_text(tank.calibration, encoding="utf-8")
        lines.append('calibration = "calibration.toml"')
    lines += [
        "[tank]",
        f"length = {length(tank.length_cm)}\nwidth = {length(tank.width_cm)}",
        f"water_depth = {length(tank.depth_cm)}\nglass_thickness = {length(tank.glass_mm / 10)}",
        f"walls = {{ {walls} }}\nfloor_reflectance = {tank.floor!r}",
        f"[water]\nyellowing_440_per_m = {tank.yellowing!r}",
    ]
    for number, lamp in enumerate(tank.lamps):
        (folder / f"lamp-{number}.toml").write_text(_fixture_text(lamp, length), encoding="utf-8")
        days = ", ".join(f'"{c.name}" = {_points_text(c.points)}' for c in lamp.channels if c.points)
        lines += [
            f'[[fixture]]\nname = "{lamp.name}"\ntype = "lamp-{number}.toml"',
            f"at = {{ x = {length(lamp.x_cm)}, y = {length(lamp.y_cm)}, height = {length(lamp.height_cm)}, "
            f"rotation_deg = {lamp.rotation_deg} }}",
            f"output_scale = {lamp.output_scale!r}\nschedule = {{ {days} }}",
        ]
    for spot in tank.spots:
        lines += [
            f'[[site]]\nname = "{spot.name}"\nopen_sky = {spot.open_sky!r}',
            f"at = {{ x = {length(spot.x_cm)}, y = {length(spot.y_cm)}, depth = {length(spot.depth_cm)} }}",
        ]
    for spot in tank.spots:
        if spot.group:
            lines.append(f'[[coral]]\nname = "on {spot.name}"\ngroup = "{spot.group}"\nsite = "{spot.name}"')
    path = folder / "setup.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def analysed(tank: DrawnTank, unit: str = "cm", *, certainty: bool = False) -> Analysis:
    """The whole chain: files written, read, analysed."""
    with tempfile.TemporaryDirectory() as folder:
        return analyse(read_setup(write(tank, Path(folder), unit)), certainty=certainty)


def light_of_site(analysis: Analysis) -> dict[str, tuple[float, ...]]:
    """What every site gets, by its name: sums over the day first, then what the shape of the day decides."""
    dose = analysis.dose
    columns = (dose.dli, *dose.weighted.T, dose.peak_ppfd, dose.photoperiod_h, dose.any_light_h)
    return {
        site.name: tuple(float(column[n]) for column in columns)
        for n, site in enumerate(analysis.setup.sites)
    }


def dli_of_channel(analysis: Analysis) -> dict[tuple[str, str, str], float]:
    """Daily photons by site, fixture and channel."""
    return {
        (site.name, key.fixture, key.channel): float(analysis.dose.dli_by_channel[n, m])
        for n, site in enumerate(analysis.setup.sites)
        for m, key in enumerate(analysis.light_field.channels)
    }


SIDES = ("front", "back", "left", "right")
_WALLS = st.sampled_from(["clean", "painted", "dark"])
_GROUPS = st.sampled_from([None, "sps-shallow", "sps-plating", "lps-branching", "soft", "mushroom"])
_DIMMINGS = st.sampled_from(
    [((0, 0), (100, 100)), ((0, 0), (10, 7), (50, 46), (100, 100)), ((0, 3), (100, 100))]
)


def _tenths(low: int, high: int) -> st.SearchStrategy[float]:
    """Lengths off the round numbers, where no image of a pane ends by accident."""
    return st.integers(low, high).map(lambda n: (10 * n + 3) / 10)


@st.composite
def days(draw: st.DrawFn) -> tuple[Point, ...]:
    """A trapezoid, sometimes with a jump at its end, within one calendar day."""
    start = draw(st.integers(0, 12)) * 60 + draw(st.sampled_from([0, 7, 30]))
    lengths = draw(st.tuples(st.integers(1, 180), st.integers(1, 360), st.integers(1, 90)))
    level = float(draw(st.integers(5, 100)))
    up, plateau, down = (start + sum(lengths[: n + 1]) for n in range(3))
    last = draw(st.sampled_from([0.0, level]))
    return ((start, 0.0), (up, level), (plateau, level), (down, last))


@st.composite
def lamps(draw: st.DrawFn, name: str, length_cm: float, width_cm: float) -> Lamp:
    """A point or a small panel above the water, with two or three channels."""
    peaks = draw(
        st.lists(st.sampled_from([410, 450, 470, 520, 590, 660]), min_size=2, max_size=3, unique=True)
    )
    channels = tuple(
        Channel(
            f"c{peak}",
            peak,
            draw(st.integers(1, 80)) / 2,
            draw(st.sampled_from([60, 90, 120])),
            draw(_DIMMINGS),
            draw(days()),
        )
        for peak in peaks
    )
    return Lamp(
        name,
        channels,
        draw(_tenths(5, int(length_cm) - 5)),
        draw(_tenths(5, int(width_cm) - 5)),
        draw(_tenths(10, 35)),
        draw(st.sampled_from([0, 30, 90])),
        draw(st.sampled_from([None, (10.0, 4.0)])),
    )


@st.composite
def tanks(draw: st.DrawFn, lamp_count: int | None = None, corals: bool = False) -> DrawnTank:
    """A tank with one or two lamps and two or three sites."""
    length, width, depth = (
        float(draw(st.integers(low, high))) for low, high in ((40, 90), (35, 60), (30, 55))
    )
    count = lamp_count or draw(st.integers(1, 2))
    spots = tuple(
        Spot(
            f"s{n}",
            draw(_tenths(4, int(length) - 5)),
            draw(_tenths(4, int(width) - 5)),
            draw(_tenths(3, int(depth) - 3)),
            draw(st.sampled_from([1.0, 0.8, 0.35])),
            draw(_GROUPS.filter(bool) if corals else _GROUPS),
        )
        for n in range(draw(st.integers(2, 3)))
    )
    return DrawnTank(
        length,
        width,
        depth,
        draw(st.sampled_from([0, 8, 12])),
        draw(st.tuples(_WALLS, _WALLS, _WALLS, _WALLS)),
        draw(st.sampled_from([0.0, 0.3, 0.5])),
        draw(st.sampled_from([0.0, 0.4])),
        tuple(draw(lamps(name, length, width)) for name in ("one", "two")[:count]),
        spots,
    )


def _fixture_text(lamp: Lamp, length) -> str:
    lines = ['format = "lightdose-fixture/1"', 'name = "drawn lamp (invented)"']
    if lamp.aperture_cm:
        long, wide = map(length, lamp.aperture_cm)
        lines.append(f"aperture = {{ length = {long}, width = {wide} }}")
    for c in lamp.channels:
        lines += [
            f'[[channel]]\nname = "{c.name}"\nspectrum = {{ peak_nm = {c.peak_nm}, fwhm_nm = 20 }}',
            f"photon_flux_umol_s = {c.flux_umol_s!r}\nbeam = {{ fwhm_deg = {c.fwhm_deg} }}",
            f"dimming = {[list(p) for p in c.dimming]}",
        ]
    return "\n".join(lines) + "\n"


def _points_text(points: tuple[Point, ...]) -> str:
    return "[" + ", ".join(f'["{format_time(minute / 60)}", {level!r}]' for minute, level in points) + "]"
