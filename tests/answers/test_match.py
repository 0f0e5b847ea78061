"""What `match` says: on what it stands, settings, what is missing, and no more than readings allow."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from answers.printed import as_one, on_terminal, piped
from present.made_match import MATCHES, ONE, READ, SHEET, made_light, made_match

from lightdose.answers.match import (
    basis_sentence,
    match_answer,
    match_body,
    match_cautions,
    unmatched_sentence,
    verdict_sentence,
)
from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.model.light import ChannelKey
from lightdose.model.match import MatchedChannel


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 120])
@pytest.mark.parametrize("case", MATCHES)
def test_terminal_and_pipe_say_the_same_verdict(case: str, width: int) -> None:
    """The basis stands first, with what doses lack, and the verdict last, in both."""
    match = MATCHES[case]
    answer = match_answer(match, {})
    lines, shown = piped(answer), as_one(on_terminal(answer, width))
    assert lines[0] == f"{basis_sentence(match)} {SINGLE_VALUES}"
    assert lines[-1].startswith(verdict_sentence(match))
    assert shown.startswith(lines[0])
    assert shown.endswith(lines[-1])


@pytest.mark.pinned
def test_words_of_what_is_missing_and_of_the_verdict() -> None:
    """Neighbouring bands stand together; the verdict never claims more than the readings allow."""
    assert unmatched_sentence(MATCHES["one pair"]) == (
        "Cannot be matched: 660-670 nm missing (11.1 % of the photons)."
    )
    assert verdict_sentence(MATCHES["not reached"]).startswith("Not matched: 40 % of the dose")
    assert verdict_sentence(made_match(made_light(ONE), here=READ, there=READ)) == (
        "Matched, with 11.1 % of the photons in other colours."
    )


@pytest.mark.pinned
def test_first_line_names_the_sides_to_measure() -> None:
    """Both measured: no warning; one not: that side is named."""
    light = made_light(ONE)
    assert basis_sentence(made_match(light, here=READ, there=READ)) == (
        "Here: Measured: 8 readings. There: Measured: 8 readings."
    )
    for here, there, which in (
        (READ, SHEET, "there"),
        (SHEET, READ, "here"),
        (SHEET, SHEET, "here and there"),
    ):
        match = made_match(light, here=here, there=there)
        assert basis_sentence(match).startswith(f"Measure first, {which}:")
        assert match.measure_first


@pytest.mark.pinned
def test_both_settings_stand_side_by_side_with_their_trade_off() -> None:
    """Look and spectrum of each, levels of both, what one costs of the other; those between with --all."""
    match = MATCHES["look or spectrum"]
    lines = piped(match_answer(match, {}))
    assert "Look here x 0.160 y 0.050, there x 0.170 y 0.050 (today x 0.300 y 0.300): 0.010 off" in lines[2]
    rows = [line for line in lines if line.startswith("nearest ")]
    assert rows[0].startswith("nearest look (this one)")
    assert rows[1].split()[-2:] == ["10.0", "11.1"]
    assert (
        "Keeping the look misses 29 % of the spectrum, the nearest spectrum 10 %; it looks 0.200 off instead "
        "of 0.010. --keep spectrum sets the other one."
    ) in lines
    assert sum(line.startswith("between") for line in piped(match_answer(match, {}), everything=True)) == 1
    assert not any(line.startswith("between") for line in lines)
    other = piped(match_answer(MATCHES["the spectrum"], {}))
    assert any(line.startswith("nearest spectrum (this one)") for line in other)
    assert not any("nearest" in line for line in piped(match_answer(MATCHES["one pair"], {})))


@pytest.mark.identity
def test_json_holds_both_settings_and_all_between() -> None:
    """The one asked for stands at the top; both have their doses, look, spectrum and levels."""
    match = MATCHES["look or spectrum"]
    body = match_body(match, {})
    assert body["keep"] == "look"
    assert body["look"] == {"here": (0.16, 0.05), "today": (0.3, 0.3)}
    assert {keep: one["look_off"] for keep, one in body["settings"].items()} == {
        "look": 0.01,
        "spectrum": 0.2,
    }
    assert [one["spectrum_off"] for one in body["between"]] == [light.spectrum_off for light in match.front]
    channel = {"fixture": "lamp", "channel": "blue 450", "set_level": 1.0, "level": 1.0, "output": 1.0}
    assert body["channels"][0] == body["settings"]["look"]["channels"][0] == channel | {"at_limit": True}


@pytest.mark.pinned
def test_cautions_name_what_binds_and_what_stays_dark() -> None:
    """Channels at full output, uneven places, lamps that stay off, a rise that is to go in steps."""
    codes = [c.code for c in match_cautions(MATCHES["two pairs"])]
    assert codes == ["channel_at_limit", "uneven", "bring_it_in_slowly", "only_these_places"]
    off = MatchedChannel(ChannelKey("far lamp", "blue"), 0.0, 0.0, at_limit=False, set_level=0.0)
    dark = made_match(replace(made_light(ONE), channels=(off,)))
    assert "'far lamp' stays off: the places below get less light." in [c.text for c in match_cautions(dark)]


@pytest.mark.pinned
def test_next_step_names_the_written_files() -> None:
    """Without files how to write them; with files for two fixtures where the setup names them."""
    match = MATCHES["one pair"]
    assert piped(match_answer(match, {}))[-1].endswith("Next: add -o DIR to write the schedules")
    files = {name: Path(f"tank/new/{name}.csv") for name in ("left", "right")}
    last = piped(match_answer(match, files))[-1]
    assert 'schedule = "new/left.csv" under fixture "left"' in last
    assert last.endswith("then lightdose dose tank/setup.toml")
