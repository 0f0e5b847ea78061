"""What `match` says: on what it stands, settings, what is missing, and no more than readings allow."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from answers.printed import as_one, on_terminal, piped
from present.made_match import MATCHES, READ, SHEET, made_match, made_pair

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
    assert verdict_sentence(made_match(made_pair("a", "b", 1.0), here=READ, there=READ)) == (
        "Matched, with 11.1 % of the photons in other colours."
    )


@pytest.mark.pinned
def test_first_line_names_the_sides_to_measure() -> None:
    """Both measured: no warning; one not: that side is named."""
    pair = made_pair("a", "b", 1.0)
    assert basis_sentence(made_match(pair, here=READ, there=READ)) == (
        "Here: Measured: 8 readings. There: Measured: 8 readings."
    )
    for here, there, which in (
        (READ, SHEET, "there"),
        (SHEET, READ, "here"),
        (SHEET, SHEET, "here and there"),
    ):
        match = made_match(pair, here=here, there=there)
        assert basis_sentence(match).startswith(f"Measure first, {which}:")
        assert match.measure_first


@pytest.mark.identity
def test_levels_are_rounded_for_people_and_whole_in_json() -> None:
    """A level of many digits stands to a tenth of a percent in the table, to its last digit in the JSON."""
    level = 0.27312345678901234
    setting = MatchedChannel(ChannelKey("lamp", "blue"), 0.2, level, at_limit=False)
    match = replace(MATCHES["one pair"], channels=(setting,))
    lines = piped(match_answer(match, {}))
    assert next(line.split() for line in lines if line.startswith("lamp")) == [
        "lamp",
        "blue",
        "27.3",
        "20",
        "-",
    ]
    assert match_body(match, {})["channels"] == [
        {"fixture": "lamp", "channel": "blue", "level": level, "output": 0.2, "at_limit": False}
    ]


@pytest.mark.pinned
def test_cautions_name_what_binds_and_what_stays_dark() -> None:
    """Channels at full output, uneven places, lamps that stay off, a rise that is to go in steps."""
    codes = [c.code for c in match_cautions(MATCHES["two pairs"])]
    assert codes == ["channel_at_limit", "uneven", "bring_it_in_slowly", "only_these_places"]
    dark = replace(
        MATCHES["one pair"],
        channels=(MatchedChannel(ChannelKey("far lamp", "blue"), 0.0, 0.0, at_limit=False),),
    )
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
