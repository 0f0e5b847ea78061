"""Words for shade against traced scenes: what a flat sensor gets under ledges and beside colonies."""

from __future__ import annotations

import json
import math
import statistics
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from lightdose.analysis import light_field
from lightdose.files.setup_file import read_setup
from lightdose.judge.uncertain_inputs import sky_spread_ln
from lightdose.model.forms import OPEN_SKY_RANGES, OPEN_SKY_WORDS

SCENES = json.loads(
    (Path(__file__).resolve().parents[1] / "data" / "shade_by_ledges.json").read_text(encoding="utf-8")
)["scenes"]
SIDE_M, ACROSS = 0.03, 6
LAMP = """format = "lightdose-fixture/1"
name = "lamp"
aperture = {{ length = "{side} m", width = "{side} m" }}
[[channel]]
name = "c"
spectrum = {{ peak_nm = 450, fwhm_nm = 10 }}
photon_flux_umol_s = {flux}
beam = {{ fwhm_deg = {fwhm} }}
"""


def open_light(scene: dict[str, Any], folder: Path) -> list[float]:
    """What each place of a scene would get without its solids, by the light field. [1/m2]"""
    lines = [
        'format = "lightdose-setup/1"\ntitle = "traced"\n[water]\nrefractive_index = 1.34\n[tank]',
        f'length = "{scene["length_m"]} m"\nwidth = "{scene["width_m"]} m"',
        f'water_depth = "{scene["depth_m"]} m"\nglass_thickness = "1 cm"\nglass_index = 1.52',
        f'floor_reflectance = {scene["floor_reflectance"]}\nwalls = {{ back = "{scene["back"]}" }}',
    ]
    for n, lamp in enumerate(scene["lamps"]):
        half = math.degrees(math.acos(0.5 ** (1 / lamp["m"])))
        side = lamp.get("size", [0.001])[0]
        words = LAMP.format(side=side, flux=2 * math.pi / (lamp["m"] + 1), fwhm=2 * half)
        (folder / f"lamp{n}.toml").write_text(words, encoding="utf-8")
        at = f'{{ x = "{lamp["x"]} m", y = "{lamp["y"]} m", height = "{lamp["h"]} m" }}'
        lines.append(f'[[fixture]]\nname = "l{n}"\ntype = "lamp{n}.toml"\nschedule = "day.csv"\nat = {at}')
    (folder / "day.csv").write_text("time,c\n00:00,100\n23:59,100\n", encoding="utf-8")
    (folder / "setup.toml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    setup = read_setup(folder / "setup.toml")
    step = SIDE_M * ((np.arange(ACROSS) + 0.5) / ACROSS - 0.5)
    along, aside = (grid.ravel() for grid in np.meshgrid(step, step))
    found = []
    for x, y, z in (place["at"] for place in scene["places"]):
        points = np.column_stack((x + along, y + aside, np.full(along.size, scene["depth_m"] - z)))
        found.append(float(light_field(setup, points, ("photons",))[:, :, 0].sum(axis=1).mean()))
    return found


@pytest.mark.published
def test_words_for_shade_are_the_middles_of_traced_places(tmp_path: Path) -> None:
    """Under ledges and half under them the median share, beside colonies the middle of the range."""
    # Source: our own photon tracer, three invented tanks with rock, a slab, a table and heads, 6 million
    # photons each; open light by the light field, which the tracer meets to 1 % there. Values are rounded to
    # what is easily said: to 0.01 under a ledge, to 0.05 elsewhere.
    shares: dict[str, list[float]] = {}
    for n, scene in enumerate(SCENES):
        folder = tmp_path / str(n)
        folder.mkdir()
        for place, light in zip(scene["places"], open_light(scene, folder), strict=True):
            shares.setdefault(place["word"], []).append(place["traced"] / light)
    assert set(shares) == set(OPEN_SKY_RANGES)
    assert statistics.median(shares["under a ledge"]) == pytest.approx(
        OPEN_SKY_WORDS["under a ledge"], abs=0.005
    )
    assert statistics.median(shares["half under"]) == pytest.approx(OPEN_SKY_WORDS["half under"], abs=0.025)
    beside = shares["neighbour on one side"]
    assert (min(beside) + max(beside)) / 2 == pytest.approx(
        OPEN_SKY_WORDS["neighbour on one side"], abs=0.025
    )
    for word, (low, high) in OPEN_SKY_RANGES.items():
        assert min(shares[word]) == pytest.approx(low, abs=0.02), word
        assert max(shares[word]) == pytest.approx(high, abs=0.02), word


@pytest.mark.published
def test_drawn_shade_holds_the_traced_places_of_each_word(tmp_path: Path) -> None:
    """The 95 % range of the draws behind a word spans the shares that were traced, and hardly more."""
    # Source: as above; light of three tanks by the light field, shares by photon tracing.
    shares: dict[str, list[float]] = {}
    for n, scene in enumerate(SCENES):
        folder = tmp_path / str(n)
        folder.mkdir()
        for place, light in zip(scene["places"], open_light(scene, folder), strict=True):
            shares.setdefault(place["word"], []).append(place["traced"] / light)
    z = np.random.default_rng(1).standard_normal(4000)
    for word, traced in shares.items():
        below, above = sky_spread_ln((word,))
        drawn = np.minimum(OPEN_SKY_WORDS[word] * np.exp(np.where(z < 0, below, above) * z), 1.0)
        low, high = np.quantile(drawn, (0.025, 0.975))
        inside = [0.98 * low <= share <= 1.02 * high for share in traced]
        assert sum(inside) >= len(inside) - 1, word
        assert low >= 0.8 * min(traced), word
        assert high <= 1.25 * max(traced), word
