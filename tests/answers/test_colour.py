"""The colour of a mix in words."""

from __future__ import annotations

import math

import pytest

from lightdose.answers.colour import colour_name, mix_words


def shares(
    blue: float, green: float, red: float, uv_a: float = 0.0, far_red: float = 0.0
) -> dict[str, float]:
    return {"uv_a": uv_a, "blue": blue, "green": green, "red": red, "far_red": far_red}


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("mix", "words"),
    [
        (shares(0.94, 0.04, 0.02), "nearly all blue: 94 % between 400 and 500 nm"),
        (shares(0.7, 0.2, 0.1), "mostly blue: 70 % between 400 and 500 nm, 20 % green"),
        (
            shares(0.3, 0.3, 0.4),
            "mixed, most of it red: 40 % between 600 and 700 nm, 30 % blue, 30 % green",
        ),
        (
            shares(0.95, 0.04, 0.01, uv_a=0.3),
            "nearly all blue: 95 % between 400 and 500 nm, 30 % as many UV-A beside them",
        ),
        (shares(math.nan, math.nan, math.nan), "no light"),
    ],
)
def test_mix_is_named_with_its_strongest_band(mix: dict[str, float], words: str) -> None:
    """The strongest band gives the name, with its share and edges; others that count are named too."""
    assert mix_words(mix) == words
    assert words.startswith(colour_name(mix))
