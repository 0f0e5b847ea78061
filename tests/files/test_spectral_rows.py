"""Rows of wavelength and value put in order, whatever the order they come in."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import Place, SpectrumError
from lightdose.files.spectral_rows import SpectralRows, emission_rows, increasing_rows


def rows(nodes, values) -> SpectralRows:
    """Rows of an invented file that start in line 2."""
    lines = tuple(range(2, 2 + len(nodes)))
    return SpectralRows(
        np.array(nodes, dtype=float),
        np.array(values, dtype=float),
        lines,
        lambda i, c: Place("f", lines[i], c + 1),
    )


TABLES = (
    st.lists(st.integers(310, 790), min_size=2, max_size=60, unique=True)
    .map(sorted)
    .flatmap(
        lambda nodes: st.tuples(
            st.just(nodes), st.lists(st.floats(0.5, 1), min_size=len(nodes), max_size=len(nodes))
        )
    )
)


@pytest.mark.identity
@given(TABLES)
def test_mirrored_rows_give_the_same_spectrum(table):
    """Rising or falling, the pairs stay together and only the lines differ."""
    nodes, values = table
    up = increasing_rows(rows(nodes, values))
    down = increasing_rows(rows(nodes[::-1], values[::-1]))
    np.testing.assert_array_equal(up[0], down[0])
    np.testing.assert_array_equal(up[1], down[1])
    assert up[2] == down[2][::-1]
    assert up[3] == []
    assert len(down[3]) == 1


@pytest.mark.identity
@given(TABLES, st.data())
def test_repeated_rows_change_nothing(table, data):
    """A pair that stands twice is counted once."""
    nodes, values = table
    again = data.draw(st.integers(0, len(nodes) - 1))
    doubled = [*range(again + 1), again, *range(again + 1, len(nodes))]
    out = increasing_rows(rows([nodes[i] for i in doubled], [values[i] for i in doubled]))
    np.testing.assert_array_equal(out[0], nodes)
    np.testing.assert_array_equal(out[1], values)
    assert f"(line {again + 3})" in out[3][0]


@pytest.mark.pinned
def test_place_of_a_problem_survives_the_mirroring():
    """A deep negative in a falling file is reported in its own line."""
    with pytest.raises(SpectrumError) as caught:
        emission_rows(rows([500, 490, 480, 470], [1, -0.5, 2, 1]))
    (problem,) = caught.value.problems
    assert (problem.place.line, problem.place.column) == (3, 2)


@pytest.mark.pinned
def test_many_small_gaps_are_counted_not_listed():
    """Three gaps are named, the rest are counted."""
    nodes = [n for start in range(400, 700, 20) for n in range(start, start + 10)]
    _, _, notes = emission_rows(rows(nodes, [1.0] * len(nodes)))
    assert len(notes) == 4
    assert notes[0] == "gap from 409 to 420 nm (lines 11 and 12) bridged"
    assert notes[3] == "and 11 more gaps bridged"


@pytest.mark.identity
@pytest.mark.parametrize("top", [1e300, 1e31, 1e-31, 1e-320])
def test_values_in_no_unit_of_light_are_refused(top: float) -> None:
    """Beyond 1e30, and below 1e-30, products would no longer be finite: the highest value is named."""
    with pytest.raises(SpectrumError, match="the highest value is"):
        emission_rows(rows([400, 450, 500], [0, top, 0]))
