"""The span of the usable share over every mix that a fixture can make."""

from __future__ import annotations

from itertools import combinations, product

import numpy as np
import pytest

from lightdose.fit.mix_span import MixBound, index_spans
from lightdose.model.record import FloatArray


def brute_force(
    ppfd: FloatArray, usable: FloatArray, total: float, bounds: tuple[MixBound, ...]
) -> tuple[float, float] | None:
    """Least and highest index over every vertex: as many active constraints as channels, tried one by one."""
    n = ppfd.size
    rows = [*np.eye(n), *np.eye(n), *(b.row(ppfd) for b in bounds)]
    sides = [0.0] * n + [1.0] * n + [0.0] * len(bounds)
    found = []
    for active in combinations(range(len(rows)), n - 1):
        matrix = np.array([ppfd, *(rows[i] for i in active)])
        if abs(np.linalg.det(matrix)) < 1e-9:
            continue
        output = np.linalg.solve(matrix, [total, *(sides[i] for i in active)])
        within = np.all(output >= -1e-9) and np.all(output <= 1 + 1e-9)
        if within and all(b.row(ppfd) @ output <= 1e-7 for b in bounds):
            found.append(float(usable @ output) / total)
    return (min(found), max(found)) if found else None


def scene(seed: int, n: int) -> tuple[FloatArray, FloatArray, float, tuple[MixBound, ...]]:
    draw = np.random.default_rng(seed)
    ppfd = draw.uniform(20, 200, n)
    usable = ppfd * draw.uniform(0.2, 0.95, n)
    blue, red = draw.uniform(0, 1, n), draw.uniform(0, 1, n)
    whole = np.maximum(blue + red, 1.0)
    bounds = (
        MixBound("blue at least 30 %", ppfd * blue / whole, 0.3, True),
        MixBound("red at most 50 %", ppfd * red / whole, 0.5, False),
        MixBound("below 390 nm at most 1 %", ppfd * draw.uniform(0, 0.03, n), 0.01, False),
    )
    return ppfd, usable, float(draw.uniform(0.1, 0.9) * ppfd.sum()), bounds


@pytest.mark.published
@pytest.mark.parametrize(("seed", "n"), list(product(range(12), (2, 3, 4))))
def test_linear_programs_reach_the_best_vertex(seed: int, n: int) -> None:
    """Both spans equal the best and the worst of all vertices, found by brute force."""
    # Source: the fundamental theorem of linear programming; an optimum stands at a vertex.
    ppfd, usable, total, bounds = scene(seed, n)
    for span, kept in zip(index_spans(ppfd, {"z1": usable}, total, bounds), ((), bounds), strict=True):
        expected = brute_force(ppfd, usable, total, kept)
        if expected is None:
            assert span.spans is None
            assert "no mix that gives as much light has" in span.why_none
        else:
            assert span.spans is not None
            assert span.spans["z1"] == pytest.approx(expected, abs=1e-7)


@pytest.mark.identity
def test_scenes_hold_mixes_that_pass_and_some_that_do_not() -> None:
    """The scenes of the brute-force check try both outcomes of the bounds, so neither stands untested."""
    outcomes = {brute_force(*scene(seed, n)) is None for seed, n in product(range(12), (2, 3, 4))}
    assert outcomes == {True, False}


@pytest.mark.identity
def test_full_channels_are_left_by_the_greedy_order() -> None:
    """Without bounds, the least index fills channels from the lowest index up until the photons are there."""
    ppfd = np.array([100.0, 50.0, 80.0, 0.0])
    usable = ppfd * np.array([0.9, 0.3, 0.6, 0.0])
    every, _ = index_spans(ppfd, {"z1": usable}, 150.0, ())
    assert every.spans is not None
    low, high = every.spans["z1"]
    assert low == pytest.approx((50 * 0.3 + 80 * 0.6 + 20 * 0.9) / 150, abs=1e-9)
    assert high == pytest.approx((100 * 0.9 + 50 * 0.6) / 150, abs=1e-9)
    assert every.ratio("z1") == pytest.approx(high / low, rel=1e-12)


@pytest.mark.identity
def test_single_channel_has_one_index() -> None:
    """One channel can be made brighter, but not otherwise coloured."""
    every, quiet = index_spans(np.array([120.0]), {"z1": np.array([60.0])}, 100.0, ())
    assert every.spans == {"z1": (pytest.approx(0.5, abs=1e-12), pytest.approx(0.5, abs=1e-12))}
    assert quiet.spans == every.spans


@pytest.mark.identity
def test_bounds_only_narrow_the_span() -> None:
    """Mixes that keep the bounds are some of all mixes."""
    for seed in range(12):
        every, quiet = index_spans(*(lambda p, u, t, b: (p, {"z1": u}, t, b))(*scene(seed, 6)))
        assert every.spans is not None
        if quiet.spans is not None:
            assert every.spans["z1"][0] <= quiet.spans["z1"][0] + 1e-9
            assert quiet.spans["z1"][1] <= every.spans["z1"][1] + 1e-9


@pytest.mark.identity
def test_impossible_mixes_say_which_bound_forbids_them() -> None:
    """A red lamp lacks blue; no light, and more light than all channels give, are told apart."""
    red = np.array([100.0, 40.0])
    usable = {"z1": 0.4 * red}
    bounds = (
        MixBound("blue at least 30 %", np.zeros(2), 0.3, True),
        MixBound("red at most 50 %", red, 0.5, False),
    )
    assert index_spans(red, usable, 50.0, bounds)[1].why_none == (
        "no mix that gives as much light has blue at least 30 % or red at most 50 %"
    )
    together = (
        MixBound("blue at least 60 %", np.array([100.0, 0.0]), 0.6, True),
        MixBound("green at least 60 %", np.array([0.0, 40.0]), 0.6, True),
    )
    assert index_spans(red, usable, 30.0, together)[1].why_none.endswith(
        "blue at least 60 %, green at least 60 % at once"
    )
    assert (
        index_spans(red, usable, 200.0, ())[0].why_none == "all channels at full do not give that much light"
    )
    assert index_spans(0 * red, usable, 0.0, ())[0].why_none == "there is no light here"
    assert index_spans(red, usable, 50.0, bounds)[1].ratio("z1") is None


@pytest.mark.identity
def test_bound_is_kept_by_the_mixes_that_meet_it() -> None:
    """Exactly 30 % counts as kept, less does not."""
    ppfd = np.array([100.0, 100.0])
    blue = MixBound("blue", np.array([100.0, 0.0]), 0.3, True)
    assert blue.kept(ppfd, np.array([0.3, 0.7]))
    assert not blue.kept(ppfd, np.array([0.29, 0.71]))
