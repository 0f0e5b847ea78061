"""Parts made of values of the wrong kind: one message of ours, never a slip inside the code."""

from __future__ import annotations

import traceback
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

import lightdose as ld

CHANNEL = ld.Channel("blue", ld.Led(450, 20), photon_flux_umol_s=60)
KIND = ld.FixtureType("lamp", [CHANNEL])
DAY = ld.Programme({"blue": {"08:00": 0, "10:00": 60}})
LENGTHS = {"x": 0.2, "y": 0.2}
PARTS: list[tuple[Callable[..., Any], dict[str, Any]]] = [
    (ld.Tank, {"length": "75 cm", "width": "45 cm", "water_depth": "40 cm", "rim": "1 cm", "glass_index": 1.5,
               "walls": {"back": "painted"}, "floor_reflectance": 0.3}),
    (ld.Channel, {"name": "blue", "spectrum": ld.Led(450, 20), "photon_flux_umol_s": 60, "beam_deg": 90,
                  "dimming": [(0, 0), (100, 100)]}),
    (ld.Channel, {"name": "blue", "spectrum": "blue-445", "radiant_flux_w": 6, "beam": [(0, 1), (60, 0)]}),
    (ld.FixtureType, {"name": "lamp", "channels": [CHANNEL], "aperture": (0.1, 0.1), "emitters": (3, "8 mm"),
                      "electrical_w": 20}),
    (ld.Programme, {"channels": {"blue": [("08:00", 0), ("10:00", 60)]}}),
    (ld.Fixture, {"name": "f", "type": KIND, **LENGTHS, "height": 0.2, "programme": DAY, "rotation_deg": 3,
                  "enabled": True, "output_scale": 1.0}),
    (ld.Site, {"name": "a", **LENGTHS, "depth": 0.1, "open_sky": 0.5, "on": "rock", "faces": "front"}),
    (ld.Rack, {"name": "A", **LENGTHS, "depth": 0.1, "columns": 3, "rows": 2, "pitch": ("5 cm", "6 cm"),
               "row_names": ["A", "B"], "on": "rack", "faces": "front"}),
    (ld.Coral, {"name": "c", "group": "soft", "site": "a", "height": 0.02, "diameter": 0.02,
                "keep_apart": 0.02, "growth": {"diameter": 0.01}}),
    (ld.Rock, {"name": "r", "shape": "box", **LENGTHS, "size": (0.1, 0.1, 0.1), "height": 0.05,
               "turn_deg": 3, "reflectance": 0.2}),
    (ld.Meter, {"name": "m", "reads": "umol", "response": "soft", "calibrated_on": "A", "immersion": 1.1,
                "standard_uncertainty": 0.1, "reads_up_to": 500}),
    (ld.Led, {"peak_nm": 450, "fwhm_nm": 20}),
    (ld.Spectrum, {"name": "s", "wavelength_nm": [400, 500], "values": [1, 2], "quantity": "power",
                   "absolute_unit": None}),
]  # fmt: skip
WRONG: list[Any] = [
    "a", "", None, 3, -1, float("nan"), True, 10**400, 1j, b"x", object(), [1], [None], (), (1, 2, 3),
    [["a", "b"]], {"a": 1}, {1: 2}, {"blue": 3}, {"blue": [1]}, {"blue": {"x": "y"}}, np.array([1.0, 2.0]),
]  # fmt: skip


@pytest.mark.identity
@pytest.mark.parametrize(
    ("part", "key"), [(n, key) for n, (_, told) in enumerate(PARTS) for key in told], ids=str
)
def test_value_of_a_wrong_kind_gets_a_message_of_ours(part: int, key: str) -> None:
    """Every argument of every part is given what it is not: what is raised, we raise, and with words."""
    make, told = PARTS[part]
    make(**told)
    slips: list[tuple[str, object, Exception]] = []
    for wrong in WRONG:
        try:
            make(**told | {key: wrong})
        except (ld.LightdoseError, TypeError, ValueError) as refused:
            told_by = traceback.extract_tb(refused.__traceback__)[-1].line or ""
            slips += [] if told_by.startswith("raise ") and str(refused) else [(key, wrong, refused)]
    assert slips == []


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: ld.Led("a", 20), "peak_nm: a number of nm, such as 450 in Led(450, 20), not 'a'"),  # type: ignore[arg-type]
        (lambda: ld.Tank(b"x", 1, 1), "length: metres, or text with a unit such as \"75 cm\", not b'x'"),  # type: ignore[arg-type]
        (lambda: ld.FixtureType("f", [CHANNEL], aperture="40 cm"), "aperture: length and width, such as"),  # type: ignore[arg-type]
        (lambda: ld.Spectrum("s", [400, 500], [1, 2], "powr"), "one of 'power', 'photons', not 'powr'"),  # type: ignore[arg-type]
    ],
)  # fmt: skip
def test_message_names_the_argument_and_what_is_wanted(make: Callable[[], object], says: str) -> None:
    """What was given, and an example of what is meant."""
    with pytest.raises((TypeError, ld.LightdoseError)) as refused:
        make()
    assert says in str(refused.value)


@pytest.mark.identity
def test_numbers_of_numpy_are_numbers() -> None:
    """Floats, whole numbers and arrays of one value make the same part as Python's own."""
    one = ld.Led(450, 20)
    assert ld.Led(np.float64(450), np.int64(20)) == one
    assert ld.Led(np.array(450.0), 20) == one  # type: ignore[arg-type]
    rock = ld.Rock("r", "box", 0.2, 0.2, size=np.array([0.1, 0.2, 0.1]), height=0.1)  # type: ignore[arg-type]
    assert rock.table["size"] == {"x": "10 cm", "y": "20 cm", "z": "10 cm"}
