"""Setups for pages: the shipped example, one with every shape of programme, one with names that bite."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"
CUBE, TWO_YEARS = EXAMPLE.parents[1] / "crowded-cube", EXAMPLE.parents[1] / "two-years"

Points = Sequence[tuple[str, float]]

HOSTILE = (
    "</script><script>window.ran=1</script>",
    "<img src=x onerror=window.ran=1>",
    "\"><svg onload=window.ran=1>'",
    "a & b &lt;b&gt; &amp;",
    "{{ 7 * 7 }} ${window.ran=1} `x`",
    "=1+1",
    "\U0001f41f <b>fish</b>",
    "x" * 200,
    "]]> --> <!--",
)
"""Names that would run, vanish or break the layout if a page took them for markup."""

DAY: Points = (("09:00", 0), ("12:00", 60), ("18:00", 60), ("21:00", 0))

SHAPES: Mapping[str, Mapping[str, Points]] = {
    "reef": {
        "blue": (("08:30", 0), ("11:30", 55), ("14:00", 80), ("16:45", 80), ("18:00", 30), ("21:30", 0)),
        # Blocks with jumps, and a dip between two equal heights.
        "white": (("10:00", 0), ("10:00", 40), ("12:00", 20), ("15:30", 40), ("17:00", 40), ("17:00", 0)),
        "red": (("00:00", 0), ("24:00", 0)),
        "moon": (("21:00", 0), ("21:30", 3), ("06:30+1", 3), ("07:00+1", 0)),
        "cyan": (("00:00", 0), ("09:15", 0), ("13:00", 37.5), ("19:20:30", 0), ("24:00", 0)),
    },
    "side": {
        "blue": (("14:00", 0), ("16:00", 45), ("22:00", 45), ("02:00+1", 0)),
        "white": (("00:00", 5), ("12:00", 35), ("24:00", 5)),
        "red": (("07:00", 0), ("09:00", 12), ("13:00", 4), ("19:00", 12), ("21:00", 0)),
        "moon": (("12:00", 0), ("15:00", 20), ("18:00", 0)),
        "cyan": (("00:00", 0), ("24:00", 0)),
    },
}
"""Ramps, jumps, dips, peaks, night light, programmes over midnight and around the clock, two off all day."""

CURVE = "[[0, 0], [10, 4], [35, 22], [70, 61], [100, 100]]"
CHANNELS = (
    ("blue", 450, 60, CURVE),
    ("white", 520, 40, "[[0, 0], [50, 50], [100, 100]]"),
    ("red", 660, 8, CURVE),
    ("moon", 470, 5, "[[0, 2], [20, 2], [60, 70], [100, 100]]"),
    ("cyan", 495, 12, ""),
)


def quoted(text: str) -> str:
    """A TOML string."""
    return json.dumps(text, ensure_ascii=False)


def fixture_file(
    folder: Path, name: str, names: Sequence[str], *, spectra: Sequence[int] | None = None
) -> None:
    """A fixture with the five channels under other names."""
    lines = ['format = "lightdose-fixture/1"', f"name = {quoted(name)}"]
    lines.append('aperture = { length = "30 cm", width = "8 cm" }')
    for n, channel in enumerate(names):
        _, peak, flux, dimming = CHANNELS[n % len(CHANNELS)]
        lines += ["[[channel]]", f"name = {quoted(channel)}", f"photon_flux_umol_s = {flux}"]
        lines += [f"spectrum = {{ peak_nm = {peak}, fwhm_nm = 20 }}", "beam = { fwhm_deg = 100 }"]
        lines += [f"dimming = {dimming}"] if dimming else []
    (folder / "lamp.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")


def inline(points: Mapping[str, Points]) -> str:
    """A programme as it stands in a setup."""
    return (
        "{ "
        + ", ".join(f"{quoted(k)} = {json.dumps([list(p) for p in v])}" for k, v in points.items())
        + " }"
    )


def setup_file(
    folder: Path,
    schedules: Mapping[str, str],
    corals: Sequence[tuple[str, str, str]],
    sites: Sequence[str],
    title: str = "Made tank (invented)",
) -> Path:
    """A tank of 90 x 45 x 40 cm; ``schedules`` is fixture -> what stands behind ``schedule =``."""
    lines = ['format = "lightdose-setup/1"', f"title = {quoted(title)}", "[tank]", 'length = "90 cm"']
    lines += ['width = "45 cm"', 'water_depth = "40 cm"']
    for n, (name, schedule) in enumerate(schedules.items()):
        lines += ["[[fixture]]", f"name = {quoted(name)}", 'type = "lamp.toml"']
        lines += [
            f'at = {{ x = "{25 + 40 * n} cm", y = "22 cm", height = "18 cm" }}',
            f"schedule = {schedule}",
        ]
    for n, site in enumerate(sites):
        lines += ["[[site]]", f"name = {quoted(site)}"]
        x_cm, depth_cm = 8 + n * 74 / max(len(sites) - 1, 1), 12 + n % 5 * 5
        lines += [f'at = {{ x = "{x_cm:.2f} cm", y = "20 cm", depth = "{depth_cm} cm" }}']
    for name, group, site in corals:
        lines += ["[[coral]]", f"name = {quoted(name)}", f"group = {quoted(group)}", f"site = {quoted(site)}"]
    path = folder / "setup.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def shapes_setup(folder: Path, files: Mapping[str, str] | None = None, *, lit_at_zero: bool = True) -> Path:
    """The tank with every shape of programme, inline or in ``files``; its night light may glow at level 0."""
    fixture_file(folder, "made lamp", [c[0] for c in CHANNELS])
    if not lit_at_zero:
        lamp = folder / "lamp.toml"
        lamp.write_text(lamp.read_text(encoding="utf-8").replace("[0, 2]", "[0, 0]"), encoding="utf-8")
    schedules = {name: quoted(files[name]) if files else inline(points) for name, points in SHAPES.items()}
    groups = ("sps-shallow", "lps-branching", "open-brain", "mushroom", "soft", "sps-plating")
    sites = [f"place {n}" for n in range(8)]
    corals = [(f"coral {n}", group, sites[n]) for n, group in enumerate(groups)]
    return setup_file(folder, schedules, corals, sites)


def hostile_setup(folder: Path) -> Path:
    """A tank in which every name bites."""
    names = [f"{text}{n}" if text != "=1+1" else text for n, text in enumerate(HOSTILE[:5])]
    fixture_file(folder, HOSTILE[0], names)
    schedules = {name: inline(dict.fromkeys(names, DAY)) for name in HOSTILE[1:3]}
    corals = [(f"coral {text}", "lps-branching", text) for text in HOSTILE[:-1]]
    return setup_file(folder, schedules, corals, HOSTILE, HOSTILE[0] + HOSTILE[1])


def large_setup(folder: Path, sites: int = 50, channels: int = 12, points: int = 50) -> Path:
    """Many sites under one fixture whose channels all have their breakpoints at times of their own."""
    names = [f"c{n}" for n in range(channels)]
    fixture_file(folder, "large lamp", names)
    programme = {}
    for n, name in enumerate(names):
        minutes = [420 + n + round(780 * i / (points - 1)) for i in range(points)]
        rise = [
            round(90 * (1 - abs(2 * i / (points - 1) - 1) ** 3) * (1 - 0.3 * (i % 2)), 1)
            for i in range(points)
        ]
        programme[name] = [(f"{m // 60:02d}:{m % 60:02d}", v) for m, v in zip(minutes, rise, strict=True)]
    places = [f"place {n}" for n in range(sites)]
    corals = [(f"coral {n}", "lps-branching", place) for n, place in enumerate(places)]
    return setup_file(folder, {"lamp": inline(programme)}, corals, places)


def crowded_setup(folder: Path, corals: int, named: Sequence[str] = ("coral {}",)) -> Path:
    """Many corals of many groups from bright to dim, under two fixtures, with a rock at the back.

    The names of corals take turns.
    """
    names = [c[0] for c in CHANNELS]
    fixture_file(folder, "made lamp", names)
    groups = ("sps-shallow", "lps-branching", "open-brain", "mushroom", "soft", "sps-plating", "zoanthid")
    places = [f"place {n}" for n in range(corals)]
    stock = [
        (named[n % len(named)].format(n), groups[n % len(groups)], place) for n, place in enumerate(places)
    ]
    day = inline(dict.fromkeys(names, DAY))
    path = setup_file(folder, {"left": day, "right": day}, stock, places, "Crowded tank (invented)")
    rock = (
        '[[rock]]\nname = "reef"\nshape = "box"\nat = { x = "45 cm", y = "38 cm", height = "8 cm" }\n'
        'size = { x = "40 cm", y = "8 cm", z = "16 cm" }\n'
    )
    path.write_text(path.read_text(encoding="utf-8") + rock, encoding="utf-8")
    return path
