"""Tanks that no keeper has and that the files allow: each value anywhere between its limits, often at one."""

from __future__ import annotations

from collections.abc import Sequence
from math import exp, log
from random import Random

Range = tuple[float, float]
METER = '[meter.hand]\nreads = "umol"\nresponse = { shape = "soft" }\ncalibrated_on = "A"\nimmersion = 1.2\n'


def _between(draw: Random, low: float, high: float) -> float:
    """A value of a range: an end, one near an end, or any, evenly in its logarithm where that is wide."""
    turn = draw.random()
    if turn < 0.15:
        return draw.choice((low, high))
    if turn < 0.3:
        return low + (high - low) * draw.choice((1e-12, 1e-6, 1e-3, 1 - 1e-9))
    if low > 0 and high / low > 50:
        return min(high, max(low, exp(draw.uniform(log(low), log(high)))))
    return draw.uniform(low, high)


def _cm(metres: float) -> str:
    return f'"{100 * metres!r} cm"' if "e" not in repr(100 * metres) else f'"{100 * metres:.15f} cm"'


def _seldom(draw: Random, usual: Range, rare: Range, chance: float = 0.25) -> float:
    return _between(draw, *(rare if draw.random() < chance else usual))


def _beam(draw: Random) -> str:
    turn = draw.random()
    if turn < 0.5:
        return f"{{ fwhm_deg = {_between(draw, 2, 175)!r} }}"
    if turn < 0.7:
        return draw.choice(
            (
                "{ table = [[0, 1], [90, 1]] }",
                "{ table = [[0, 0], [45, 1], [90, 0]] }",
                "{ table = [[0, 1], [1, 0]] }",
                "{ table = [[0, 1e-300], [89.999, 1e-300], [90, 0]] }",
                "{ table = [[0, 0], [89, 0], [90, 1]] }",
                "{ table = [[0, 1], [0.000001, 1], [0.000002, 0]] }",
            )
        )
    return "{ fwhm_deg = 120 }"


def _spectrum(draw: Random) -> str:
    peak, width = _seldom(draw, (400, 680), (300, 800)), _seldom(draw, (10, 40), (1, 200))
    return f"{{ peak_nm = {peak!r}, fwhm_nm = {width!r} }}"


def _lamp(draw: Random, names: Sequence[str]) -> str:
    text = 'format = "lightdose-fixture/1"\nname = "lamp (invented)"\n'
    if draw.random() < 0.8:
        sides = [_seldom(draw, (0.02, 0.6), (0, 10)) for _ in range(2)]
        text += f"aperture = {{ length = {_cm(sides[0])}, width = {_cm(sides[1])} }}\n"
    for name in names:
        flux = _seldom(draw, (1, 500), (1e-9, 1e5))
        power = draw.choice(("", f"electrical_w = {_between(draw, 1e-9, 10_000)!r}\n"))
        dimming = draw.choice(
            ("", "", "dimming = [[0, 0], [99, 0], [100, 100]]\n", "dimming = [[0, 100], [100, 100]]\n")
        )
        text += f'[[channel]]\nname = "{name}"\nspectrum = {_spectrum(draw)}\nphoton_flux_umol_s = {flux!r}\n'
        text += f"{power}{dimming}beam = {_beam(draw)}\n"
    return text


def _programme(draw: Random, names: Sequence[str]) -> str:
    rows = []
    for name in names:
        levels = [draw.choice(("0", "100", "1e-300", "0.0001", repr(draw.uniform(0, 100)))) for _ in range(4)]
        times = draw.choice(
            (
                ("08:00", "09:00", "17:00", "18:00"),
                ("00:00", "00:00", "23:59", "24:00"),
                ("22:00", "23:00", "02:00+1", "03:00+1"),
                ("12:00", "12:00:00.0001", "12:01", "12:01"),
            )
        )
        points = ", ".join(f'["{t}", {level}]' for t, level in zip(times, levels, strict=True))
        rows.append(f'"{name}" = [{points}]')
    return "{ " + ", ".join(rows) + " }"


def _wall(draw: Random) -> str:
    return draw.choice(('"clean"', '"painted"', '"dark"', "0", "0.99", "5e-324", repr(draw.random())))


def _place(draw: Random, size: Sequence[float]) -> list[float]:
    return [draw.choice((0.0, s, s / 2, draw.uniform(0, s), s * (1 - 1e-12), 1e-12 * s)) for s in size]


def _keys(**values: object) -> str:
    """Lines of a table; a value that is text is TOML already."""
    return "".join(
        f"{key} = {value if isinstance(value, str) else repr(value)}\n" for key, value in values.items()
    )


def _tank(draw: Random, size: Sequence[float]) -> str:
    water = draw.choice((1.34, 1.34, 1.0, 1.5, 1.333))
    walls = ", ".join(f"{side} = {_wall(draw)}" for side in ("front", "back", "left", "right"))
    text = "[tank]\n" + _keys(
        length=_cm(size[0]),
        width=_cm(size[1]),
        water_depth=_cm(size[2]),
        rim=_cm(draw.choice((0.0, 0.0, 0.05, _between(draw, 0, 2)))),
        glass_thickness=_cm(draw.choice((0.0, 0.01, 0.01, _between(draw, 0, 0.2)))),
        glass_index=draw.choice((1.52, 1.52, 1.3, 2.0, max(water, 1.3))),
        floor_reflectance=draw.choice((0, 0.3, 0.99, 5e-324)),
        walls=f"{{ {walls} }}",
    )
    text += "[water]\n" + _keys(
        yellowing_440_per_m=draw.choice((0, 0.1, 50, _between(draw, 0, 50))),
        yellowing_slope_per_nm=draw.choice((0.0165, 0.0165, 0, 0.1)),
        refractive_index=water,
    )
    if draw.random() < 0.3:
        text += "[cover]\n" + _keys(transmittance=draw.choice((1, 0.5, 1e-9, 0.01)))
    return text


def _fixture(draw: Random, number: int, size: Sequence[float], names: Sequence[str]) -> str:
    x, y = (_cm(_seldom(draw, (0, s), (-1, s + 1), 0.2)) for s in size[:2])
    height, turn = _cm(_seldom(draw, (0.02, 0.6), (1e-6, 20))), draw.choice((0, 90, 45, 360, -17.3))
    return "[[fixture]]\n" + _keys(
        name=f'"f{number}"',
        type='"lamp.toml"',
        at=f"{{ x = {x}, y = {y}, height = {height}, rotation_deg = {turn} }}",
        schedule=_programme(draw, names),
    )


def _solids(draw: Random, size: Sequence[float]) -> str:
    text = ""
    for n in range(draw.choice((1, 3, 10))):
        x, y, _ = (_cm(draw.uniform(0, s)) for s in size)
        sides = [_seldom(draw, (0.02, 0.2), (0.001, 5)) for _ in range(3)]
        ends = ", ".join(f"{axis} = {_cm(side)}" for axis, side in zip("xyz", sides, strict=True))
        text += "[[rock]]\n" + _keys(
            name=f'"r{n}"',
            shape=f'"{draw.choice(("box", "ellipsoid", "cylinder", "slab"))}"',
            at=f"{{ x = {x}, y = {y}, height = {_cm(sides[2] / 2)} }}",
            size=f"{{ {ends} }}",
            turn_deg=draw.choice((0, 45, 360)),
        )
    return text


def extreme_tank(draw: Random, *, most_sites: int = 8) -> dict[str, str]:
    """Files of a tank: name -> text."""
    size = [_seldom(draw, (0.2, 2.0), (0.01, 20), 0.35) for _ in range(3)]
    names = [f"c{n}" for n in range(draw.choice((1, 1, 2, 4)))]
    text = _keys(
        format='"lightdose-setup/1"', title='"extreme (invented)"', sites='"s.csv"', corals='"c.csv"'
    )
    text += _tank(draw, size)
    for n in range(draw.choice((1, 1, 2, 5))):
        text += _fixture(draw, n, size, names)
    if draw.random() < 0.35:
        text += _solids(draw, size)
    count = draw.choice((1, 3, most_sites))
    sites = ["site,x_cm,y_cm,depth_cm,open_sky"]
    for n in range(count):
        place = ",".join(repr(100 * v) for v in _place(draw, size))
        sites.append(f"s{n},{place},{draw.choice(('1', '0.5', '0.001', 'half under'))}")
    groups = ("sps-shallow", "lps-branching", "clam", "zoanthid", "mushroom", "non-photosynthetic")
    corals = ["coral,group,site"]
    kept = range(draw.choice((0, 1, 6)))
    corals.extend(f"coral {n},{draw.choice(groups)},s{draw.randrange(count)}" for n in kept)
    readings = ["site,meter,reading,unit,time"]
    shown = _seldom(draw, (10, 500), (1e-6, 1e6))
    readings.extend(f"s{n},hand,{shown * draw.uniform(0.7, 1.4)!r},umol_m2_s,12:00" for n in range(count))
    tables = {"s.csv": sites, "c.csv": corals, "r.csv": readings}
    text, lamp = text + METER, _lamp(draw, names)
    bare = "".join(line for line in lamp.splitlines(True) if not line.startswith("photon_flux"))
    return {
        "setup.toml": text,
        "lamp.toml": lamp,
        "unmeasured.toml": text.replace('"lamp.toml"', '"bare.toml"'),
        "bare.toml": bare,
        **{name: "\n".join(rows) + "\n" for name, rows in tables.items()},
    }


COMMANDS: tuple[tuple[str, ...], ...] = (
    ("dose", "setup.toml", "--json"),
    ("dose", "setup.toml", "--json"),
    ("dose", "setup.toml", "--all"),
    ("check", "setup.toml"),
    ("map", "setup.toml", "--json"),
    ("hazard", "setup.toml", "--json"),
    ("sensitivity", "setup.toml", "--json"),
    ("survey", "setup.toml"),
    ("survey", "unmeasured.toml"),
    ("calibrate", "setup.toml", "r.csv", "--date", "2026-03-14"),
    ("calibrate", "unmeasured.toml", "r.csv", "--date", "2026-03-14"),
    ("compare", "setup.toml", "--fixture-height", "1 cm", "--json"),
    ("compare", "setup.toml", "--fixture-height", "5 m"),
    ("tune", "setup.toml"),
    ("place", "setup.toml", "--json"),
    ("move", "setup.toml", "coral 0", "--to", "s0"),
    ("acclimate", "setup.toml", "setup.toml", "--fixture-height", "1 cm", "--json"),
    ("match", "setup.toml", "setup.toml", "--pair", "s0=s0"),
    ("meter", "setup.toml", "100", "--site", "s0", "--json"),
    ("slip", "setup.toml", "coral 0", "--date", "2026-03-14"),
    ("dose", "setup.toml", "--figures", "out"),
    ("report", "setup.toml", "-o", "out/report.html"),
)
"""What an extreme tank is asked; those that draw come seldom, they take seconds."""

SELDOM = 2
"""How many commands at the end of COMMANDS come one time in eight."""
