from __future__ import annotations

import pytest
from present.made_analysis import made_analysis

from lightdose.answers.dose import next_command, summary_sentences
from lightdose.answers.verdicts import verdict_sentence
from lightdose.present.labels import count, hours, length, literal, number, percent


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (float("nan"), "-"),
        (0.6, "0.60"),
        (9.4, "9.40"),
        (12.34, "12.3"),
        (326.4, "326"),
        (6527.8, "6528"),
        (0.0123, "0.012"),
        (0.0001, "below 0.001"),
    ],
)
def test_number_has_three_digits_and_no_powers_of_ten(value: float, text: str):
    """People read 0.60, 12.3, 326; a trace of light is not printed as none."""
    assert number(value) == text


@pytest.mark.identity
def test_length_in_inches_uses_the_exact_inch():
    """One inch is 25.4 mm."""
    # Source: international yard and pound agreement, 1959.
    assert length(0.254, "in") == "10"
    assert length(0.254, "cm") == "25.4"
    assert length(-0.0001, "cm") == "0"


@pytest.mark.identity
def test_literal_leaves_printable_text_alone():
    """Umlauts, emoji and brackets stay; a line break becomes an escape."""
    assert literal("Größe [x] 😀") == "Größe [x] 😀"
    assert literal("a\nb\u2028c") == "a\\nb\\u2028c"


@pytest.mark.pinned
def test_small_words():
    """Counts agree with their nouns; shares are whole percents; hours have one decimal."""
    assert [count(1, "coral"), count(0, "coral")] == ["1 coral", "0 corals"]
    assert percent(0.523) == "52 %"
    assert [hours(9.75), hours(float("nan"))] == ["9.8", "-"]


@pytest.mark.pinned
def test_summary_names_range_and_worst():
    """The words give the span of doses, its ends, and the coral furthest off."""
    first, second = summary_sentences(made_analysis())
    assert (
        first
        == "8 corals at 4 sites get 0.60 to 9.60 mol/m2/day of light: least sun coral, most green mushroom."
    )
    assert second == "Furthest off: green mushroom, far above usual."


@pytest.mark.pinned
def test_single_coral_reads_as_a_sentence():
    """One coral gets one number."""
    (sentence,) = summary_sentences(made_analysis((("c", "mushroom", "s", 2.0),)))
    assert sentence == "1 coral at 1 site gets 2.00 mol/m2/day of light (c)."


@pytest.mark.pinned
def test_verdict_without_judged_corals_says_so():
    """Corals without symbionts are not counted as right or wrong."""
    verdicts = made_analysis((("c", "non-photosynthetic", "s", 2.0),)).verdicts
    assert verdict_sentence(verdicts) == "no coral here is judged by light"
    assert verdict_sentence(()) == "no corals to judge"


@pytest.mark.pinned
def test_next_command_quotes_a_path_with_blanks():
    """The suggested command can be pasted."""
    analysis = made_analysis((("c", "mushroom", "s", 2.0),))
    assert next_command(analysis) == "lightdose dose tank/setup.toml --figures figures"
    object.__setattr__(analysis.setup, "path", "my tank/setup.toml")
    assert next_command(analysis) == 'lightdose dose "my tank/setup.toml" --figures figures'
