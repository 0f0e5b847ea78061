"""A keeper's own cases: what each form means, and how slips are met."""

from __future__ import annotations

import pytest
from judge.made_tank import made_tank

from lightdose.errors import SetupError
from lightdose.files.typed_values import FORMS, case_from_words, cases_from_words
from lightdose.model.changes import Change

TANK = made_tank()


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "change"),
    [
        ("height +5 cm", Change("height", 0.05, relative=True)),
        ("height left -2 in", Change("height", -0.0508, relative=True, fixture="left")),
        ("height 25 cm", Change("height", 0.25)),
        ("height 25", Change("height", 0.25)),
        ("level -2,5 cm", Change("level", -0.025)),
        ("yellowing 0,3", Change("yellowing", 0.3)),
        ("yellowing +0.3", Change("yellowing", 0.3, relative=True)),
        ("output -15 %", Change("output", 0.85)),
        ("output right +10 %", Change("output", 1.1, fixture="right")),
        ("channel blue off", Change("channel_off", channel="blue")),
        ("channel left / blue off", Change("channel_off", fixture="left", channel="blue")),
        ("channel violet +10 points", Change("channel_points", 0.1, channel="violet")),
        ("channel violet \N{MINUS SIGN}10", Change("channel_points", -0.1, channel="violet")),
        ("open sky 0.5", Change("open_sky", 0.5)),
        ("back pane dark", Change("wall", wall="back", wall_kind="dark")),
        ("front pane 0.4", Change("wall", 0.4, wall="front", wall_kind="reflectance")),
        ("floor 0.5", Change("floor", 0.5)),
        ("cover 0.9", Change("cover", 0.9)),
    ],
)
def test_form_means_its_change(words: str, change: Change) -> None:
    """Each form in its units, with sign, decimal comma, fixture and channel."""
    (got,) = case_from_words(words, TANK).changes
    assert got.amount == pytest.approx(change.amount)
    assert (got.kind, got.relative, got.fixture, got.channel, got.wall, got.wall_kind) == (
        change.kind, change.relative, change.fixture, change.channel, change.wall, change.wall_kind,
    )  # fmt: skip


@pytest.mark.identity
def test_joined_changes_and_a_name_make_one_case() -> None:
    """ "and" joins, a colon names; whose values they are is marked."""
    case = case_from_words("summer: height +2 in and yellowing 0.3 and output -10 %", TANK)
    assert (case.name, case.source) == ("summer", "yours")
    assert [c.kind for c in case.changes] == ["height", "yellowing", "output"]
    assert case_from_words("floor 0.5 and cover 0.9", TANK).name == "floor 0.5 and cover 0.9"


@pytest.mark.identity
def test_examples_in_messages_are_forms_that_work() -> None:
    """Every example that a refusal names is itself understood, with the tank's own channel names."""
    for form in FORMS:
        assert case_from_words(form.replace("royal blue", "blue"), TANK).changes


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("hieght +5 cm", "did you mean height?"),
        ("height +0.05", 'write "+0.05 m" or "+0.05 cm"'),
        ("height lft +5 cm", "did you mean left?"),
        ("channel vilet off", "did you mean violet?"),
        ("channel left / green off", "allowed: violet, blue, red"),
        ("back pane green", "no kind of pane"),
        ("top pane dark", "there is no pane"),
        ("output 10 %", "a share with its sign"),
        ("level 3 cm", "has a sign"),
        ("yellowing -0.5", "outside the range"),
        ("open sky 1.5", "outside the range"),
        ("cover", "a number is missing"),
        ("", "--case is empty"),
    ],
)
def test_slip_is_met_with_what_is_allowed(words: str, found: str) -> None:
    """A sentence names the part, what is allowed and how to mend it."""
    with pytest.raises(SetupError) as caught:
        case_from_words(words, TANK)
    assert found in str(caught.value)


@pytest.mark.identity
def test_all_slips_of_all_cases_are_named_at_once() -> None:
    """Two cases, three slips, one message."""
    with pytest.raises(SetupError) as caught:
        cases_from_words(["height +0.05 and cover 3", "nonsense"], TANK)
    assert len(caught.value.problems) == 3
