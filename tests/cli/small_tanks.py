"""Small invented tanks on disk: one point lamp, dark walls and floor, so that light is quick and plain."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

CHANNELS = {"blue 450": (450, 40.0), "cyan 500": (500, 12.0), "red 660": (660, 8.0)}
"""Channel -> peak [nm] and photon flux [umol s-1]; the blue one has a curved dimming."""

CORALS = (("blue tip", "sps-plating", "ridge"), ("hammer", "lps-branching", "sand"))
LEVELS = {"blue 450": 40, "cyan 500": 40, "red 660": 20}


def write_tank(
    folder: Path,
    *,
    levels: Mapping[str, float] = LEVELS,
    channels: Sequence[str] = tuple(CHANNELS),
    corals: Sequence[Sequence[str]] = CORALS,
    height_cm: float = 20,
    lamps: int = 1,
    extra: str = "",
) -> Path:
    """Write setup, fixture and schedules into a folder and return it."""
    folder.mkdir(parents=True)
    parts = ['format = "lightdose-fixture/1"', 'name = "test lamp (invented)"']
    for name in channels:
        peak, flux = CHANNELS[name]
        parts.append(
            f'[[channel]]\nname = "{name}"\nspectrum = {{ peak_nm = {peak}, fwhm_nm = 18 }}\n'
            f"photon_flux_umol_s = {flux}\nbeam = {{ fwhm_deg = 90 }}"
        )
        if name == "blue 450":
            parts.append("dimming = [[0, 0], [10, 7], [50, 46], [100, 100]]")
    (folder / "lamp.toml").write_text("\n".join(parts) + "\n", encoding="utf-8")
    rows = [("09:00", 0.0), ("11:00", 1.0), ("18:00", 1.0), ("20:30", 0.0)]
    lines = [",".join(["time", *channels])]
    lines += [",".join([time, *(f"{share * levels[name]:g}" for name in channels)]) for time, share in rows]
    setup = [
        'format = "lightdose-setup/1"',
        f'title = "{folder.name} (invented)"',
        '[tank]\nlength = "60 cm"\nwidth = "40 cm"\nwater_depth = "35 cm"\nfloor_reflectance = 0.0',
        'walls = { front = "dark", back = "dark", left = "dark", right = "dark" }',
        '[[site]]\nname = "ridge"\nat = { x = "25 cm", y = "20 cm", depth = "10 cm" }',
        '[[site]]\nname = "sand"\nat = { x = "40 cm", y = "12 cm", depth = "33 cm" }',
    ]
    for lamp in range(lamps):
        name = f"lamp {lamp + 1}"
        (folder / f"day-{lamp + 1}.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
        setup.append(
            f'[[fixture]]\nname = "{name}"\ntype = "lamp.toml"\nschedule = "day-{lamp + 1}.csv"\n'
            f'at = {{ x = "{20 + 20 * lamp} cm", y = "20 cm", height = "{height_cm} cm" }}'
        )
    for coral, group, site in corals:
        setup.append(f'[[coral]]\nname = "{coral}"\ngroup = "{group}"\nsite = "{site}"')
    (folder / "setup.toml").write_text("\n".join([*setup, extra]) + "\n", encoding="utf-8")
    return folder


def glow_at_zero(lamp: Path) -> None:
    """Let every straight channel of a lamp give 5 % at level 0."""
    text = lamp.read_text(encoding="utf-8")
    straight = [part for part in text.split("[[channel]]") if "fwhm_deg" in part and "dimming" not in part]
    for part in straight:
        text = text.replace(part, f"{part.rstrip()}\ndimming = [[0, 5], [100, 100]]\n")
    lamp.write_text(text, encoding="utf-8")


def without_rock(setup: Path) -> None:
    """Take every [[rock]] out of a setup, for checks of a tank in which nothing shades."""
    text = setup.read_text(encoding="utf-8")
    rock = re.compile(r"^\[\[rock\]\]\n(?:[^\n\[#].*\n)+", re.MULTILINE)
    setup.write_text(rock.sub("", text), encoding="utf-8")
