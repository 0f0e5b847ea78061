"""One sentence a coral: how much it gets, and how that stands to what is usual."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.judge.plain_words import (
    beside_edges,
    excess_words,
    in_steps,
    light_sentence,
    plain,
    rounded_down,
    share_words,
)
from lightdose.judge.verdict import dli_state
from lightdose.model.results import Verdict

BAND = (4.0, 9.0)


def sentence(dli: float, *, words: dict[str, Any] | None = None, **changes: Any) -> str:
    """The sentence on a coral of the band 4-9."""
    band = changes.get("band_dli", BAND)
    given_: dict[str, Any] = {
        "coral": "frag",
        "group": "made",
        "group_name": "made",
        "site": "A1",
        "receiver": 0,
        "dli_mol_m2_d": dli,
        "peak_ppfd_umol_m2_s": 150.0,
        "brightest_hour_ppfd_umol_m2_s": 150.0,
        "judged_at_depth_m": 0.2,
        "dli_state": dli_state(dli, band, 2, 20),
        "peak_state": "within",
        "band_dli": BAND,
        "band_peak": (120.0, 280.0),
        "floor_dli": 2.0,
        "ceiling_dli": 20.0,
        "advice": "",
        "grade": "B",
        "sources": (),
    }
    return light_sentence(Verdict(**(given_ | changes)), **(words or {}))


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("dli", "changes", "text"),
    [
        (3.1, {}, "Gets 3.1 mol/m2/day, about a quarter below the usual 4-9."),
        (3.6, {}, "Gets 3.6 mol/m2/day, about a tenth below the usual 4-9."),
        (0.0, {}, "Gets no light, against the usual 4-9."),
        (5.5, {}, "Gets 5.5 mol/m2/day, within the usual 4-9."),
        (5.5, {"words": {"own_band": True}}, "Gets 5.5 mol/m2/day, within your own 4-9."),
        (
            5.5,
            {"peak_state": "high", "brightest_hour_ppfd_umol_m2_s": 412.3},
            "Gets 5.5 mol/m2/day, within the usual 4-9; its brightest hour, 412 umol/m2/s, is above the "
            "usual 120-280 at midday, so watch it: a dimmer, longer day gives the same dose.",
        ),
        (
            12.0,
            {"peak_state": "high", "brightest_hour_ppfd_umol_m2_s": 412.3},
            "Gets 12.0 mol/m2/day, about a third above the usual 4-9; its brightest hour, 412 umol/m2/s, is "
            "above the usual 120-280 at midday.",
        ),
        (
            5.5,
            {"words": {"previous_mol_m2_d": 3.0}},
            "Gets 5.5 mol/m2/day, within the usual 4-9, but came from 3.0: bring it up in steps of 10 % a "
            "week, 7 weeks.",
        ),
        (30.0, {}, "Gets 30.0 mol/m2/day, 3.3 times the high end of the usual 4-9."),
        (
            2.5,
            {"band_dli": None},
            "Gets 2.5 mol/m2/day; this group lives without light, so no amount is usual.",
        ),
    ],
)
def test_sentence_reads_as_agreed(dli: float, changes: dict[str, Any], text: str) -> None:
    """Today's wording: what it gets, and no remedy."""
    assert sentence(dli, **changes) == text


@pytest.mark.pinned
def test_harm_is_quoted_only_far_below_and_only_where_a_trial_stands_behind() -> None:
    """The group's trial ends the sentence far below usual; elsewhere nothing speaks of harm."""
    trial = {"floor_harm": "a trial saw it at 1.2"}
    assert sentence(1.0, words=trial).endswith("; a trial saw it at 1.2.")
    assert "trial" not in sentence(3.0, words=trial)
    assert "trial" not in sentence(1.0)


@given(st.floats(0.01, 60), st.sampled_from(["low", "within", "high"]))
@pytest.mark.identity
def test_sentence_claims_no_optimum_no_low_peak_and_no_remedy(dli: float, peak: str) -> None:
    """Practice is not an optimum, a dim long day is fine, and what to do is for the whole tank to say."""
    text = sentence(dli, peak_state=peak)
    assert "optim" not in text
    assert not any(word in text for word in ("raise", "dim its", "move", "lower the fixture"))
    assert ("brightest hour" in text) == (peak == "high")
    assert text.endswith(".")
    assert text.isascii()


@given(st.floats(1.0, 1000))
@pytest.mark.identity
def test_weekly_steps_reach_the_factor_and_not_a_week_later(factor: float) -> None:
    """Steps of 10 % a week, as many as reach it."""
    weeks = int(in_steps(factor).split("a week, ")[1].split(" ")[0])
    assert 1.1**weeks >= factor * (1 - 1e-9)
    assert weeks == 0 or factor > 1.1 ** (weeks - 1) * (1 - 1e-6)


@given(st.floats(9.001, 500))
@pytest.mark.identity
def test_following_the_factor_down_reaches_the_band(dli: float) -> None:
    """The factor is rounded towards dark, so the dimmed dose is not still above, nor below the band."""
    dimmed = dli * rounded_down(9 / dli)
    assert 4 < dimmed <= 9 * (1 + 1e-6)


@pytest.mark.identity
@pytest.mark.parametrize(("factor", "kept"), [(5e-324, 0.0), (2.3456e-310, 0.0), (1.29e-280, 1.2e-280)])
def test_hardly_any_light_is_rounded_down_too(factor: float, kept: float) -> None:
    """A power of ten beyond all numbers is not asked for."""
    assert rounded_down(factor) == pytest.approx(kept, rel=1e-12, abs=0)


@given(st.floats(0.001, 60))
@pytest.mark.identity
def test_shown_number_stands_on_its_own_side_of_the_band(dli: float) -> None:
    """A dose just under an edge is not printed as the edge."""
    shown = float(beside_edges(dli, BAND))
    assert dli_state(shown, BAND, None, None) == dli_state(dli, BAND, None, None) or abs(dli - shown) < 1e-6


@pytest.mark.pinned
def test_numbers_read_as_people_say_them() -> None:
    """Two figures below 10, tenths to 100, whole numbers beyond."""
    values = (0, 0.0004, 0.0123, 0.85, 3.14159, 9.96, 12.34, 99.6, 412.3)
    assert [plain(v) for v in values] == [
        "0",
        "under 0.001",
        "0.012",
        "0.85",
        "3.1",
        "10.0",
        "12.3",
        "100",
        "412",
    ]
    assert beside_edges(3.9996, BAND) == "3.9996"
    assert beside_edges(9.0, BAND) == "9.0"


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("share", "words"),
    [
        (0.01, "just"),
        (0.05, "about a twentieth"),
        (0.1, "about a tenth"),
        (0.2, "about a fifth"),
        (0.225, "about a quarter"),
        (0.333, "about a third"),
        (0.5, "about half"),
        (0.667, "about two thirds"),
        (0.75, "about three quarters"),
        (0.95, "far"),
    ],
)
def test_shares_read_as_words(share: float, words: str) -> None:
    """Each word stands for the shares around it."""
    assert share_words(share) == words


@pytest.mark.pinned
def test_large_excess_is_a_factor() -> None:
    """Up to about double in words, beyond in times."""
    assert excess_words(1.34) == "about a third above"
    assert excess_words(2.5) == "2.5 times the high end of"
