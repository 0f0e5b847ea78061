"""What the slip of a coral says: its light, how to begin with it, and the line for the next setup."""

from __future__ import annotations

import pytest
from answers.printed import as_one, on_terminal, piped
from present.made_analysis import made_analysis

from lightdose.answers.slip import previous_line, slip_answer, slip_points, start_sentence
from lightdose.errors import SetupError
from lightdose.model.shop import Slip
from lightdose.workflows.compare import slip


def made_slip(coral: str) -> Slip:
    return slip(made_analysis(), coral, "2026-03-14")


@pytest.mark.identity
@pytest.mark.parametrize(
    ("dli", "line"),
    [
        (4.69, "previous = 4.6"),
        (0.9876, "previous = 0.98"),
        (23.78, "previous = 23.7"),
        (0.0, 'previous = "unknown"'),
        (140.0, 'previous = "unknown"'),
    ],
)
def test_line_is_the_dose_rounded_down(dli: float, line: str) -> None:
    """Nobody starts higher than the coral lived; without light, or beyond a setup's range, it is unknown."""
    page = slip(made_analysis((("c", "mushroom", "s", dli),)), "c", "2026-03-14")
    assert previous_line(page) == line
    assert piped(slip_answer(page, None))[-1].endswith(line)
    assert ("Start at or below" in start_sentence(page)) == ("unknown" not in line)


@pytest.mark.identity
def test_terminal_and_pipe_say_what_the_page_says() -> None:
    """Each point of the page stands on every surface, within the width of a narrow window, safety once."""
    answer = slip_answer(made_slip("torch head"), None)
    narrow = on_terminal(answer, 60)
    assert all(len(line) <= 60 for line in narrow)
    assert as_one(narrow) == as_one(piped(answer))
    for point in slip_points(made_slip("torch head")):
        assert f"- {point.about}: {point.text}" in as_one(narrow)
    assert as_one(narrow).count("Do not look into the emitters") == 1


@pytest.mark.identity
def test_coral_without_symbionts_gets_no_advice_on_light() -> None:
    """A group that lives without light has no usual amount and nothing to start from."""
    text = as_one(piped(slip_answer(made_slip("sun coral"), None)))
    assert "lives without light" in text
    assert "Start at" not in text


@pytest.mark.identity
def test_unknown_coral_is_refused_with_the_near_name() -> None:
    """A name typed wrong gets the coral that was meant."""
    with pytest.raises(SetupError, match="did you mean 'torch head'"):
        made_slip("torch haed")
