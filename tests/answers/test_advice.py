"""Actions in words: what to do, what it does, to whom, and how fast."""

from __future__ import annotations

from typing import Any

import pytest
from present.made_analysis import made_analysis

from lightdose.answers.advice import command, doing, effect, sentence, unserved_sentence
from lightdose.model.advice import Action, Advice, FreePlace, OverallChange, Stand, Unserved

TODAY, THEN = Stand(39, 8, 24.0), Stand(46, 5, 14.5)
SETUP = made_analysis().setup
BOTH = tuple(OverallChange(f.name, 46.0, 38.0) for f in SETUP.lit_fixtures)


def action(kind: str, **change: Any) -> Action:
    return Action(kind, TODAY, THEN, **change)  # type: ignore[arg-type]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("made", "words", "typed"),
    [
        (
            action("overall", dials=BOTH),
            "turn the overall setting from 46 to 38 %",
            "lightdose dose tank/setup.toml --all-channels 38",
        ),
        (
            action("fixture", dials=(OverallChange("left", 46.0, 9.5),)),
            "turn the overall setting of left from 46 to 9.5 %",
            "lightdose dose tank/setup.toml --all-channels left=9.5",
        ),
        (
            action("hours", longer_h=-1.5),
            "make the plateau 1:30 h shorter",
            "lightdose tune tank/setup.toml -o tuned",
        ),
        (
            action("height", heights_m={"left": (0.20, 0.17), "right": (0.20, 0.17)}),
            "hang all fixtures 3 cm lower",
            'lightdose dose tank/setup.toml --fixture-height "17 cm"',
        ),
        (
            action("move", moves={"blue tip": ("ridge", "empty corner")}),
            "move blue tip to empty corner",
            'lightdose move tank/setup.toml "blue tip" --to "empty corner"',
        ),
        (
            action("exchange", moves={"blue tip": ("ridge", "terrace"), "torch head": ("terrace", "ridge")}),
            "exchange blue tip and torch head",
            None,
        ),
        (
            action("measure", reading="terrace"),
            "take one meter reading at terrace",
            "lightdose survey tank/setup.toml",
        ),
        (action("leave"), "leave the light and the corals as they are", None),
    ],
)
def test_each_kind_says_what_to_do_and_how_to_go_on(made: Action, words: str, typed: str | None) -> None:
    """A few words, and the command where there is one."""
    assert doing(made) == words
    assert command(SETUP, made) == typed


@pytest.mark.pinned
def test_effect_names_who_gets_better_and_who_gets_worse() -> None:
    """Counts before and after; up to four names, then a number; "worse for none" is said."""
    made = action("overall", dials=BOTH, better=("a", "b"), worse=("c",))
    assert effect(made) == ("46 within instead of 39, 5 undecided (8 before); better for a, b, worse for c.")
    many = action("overall", dials=BOTH, better=tuple("abcdefg"))
    assert effect(many).endswith("better for 7 corals, worse for none.")
    same = Action("move", TODAY, Stand(39, 8, 23.0), moves={"a": ("s", "t")})
    assert effect(same).startswith("39 within as before, 8 undecided (8 before)")


@pytest.mark.pinned
def test_pace_is_what_corals_can_follow() -> None:
    """Up to 10 % more is a day's step, beyond it takes weeks; no more than half is taken at once."""
    for rise, words in ((0.10, "Small enough for one day."), (0.2, "Take 2 weeks for it"), (1.0, "8 weeks")):
        assert words in sentence(action("overall", dials=BOTH, largest_rise=rise))
    assert "in two steps" in sentence(action("overall", dials=BOTH, largest_cut=0.6))
    assert "one day" in sentence(action("overall", dials=BOTH, largest_cut=0.4))


@pytest.mark.pinned
def test_what_waits_for_a_reading_says_so() -> None:
    """Behind a reading a change is only probable; leaving it gives its reason."""
    made = action("overall", dials=BOTH)
    assert sentence(made, after_measuring=True).startswith("After measuring, probably: turn the overall")
    assert sentence(made).startswith("Turn the overall setting from 46 to 38 %. 46 within instead of 39")
    done = Stand(7, 0, 0.0)
    assert sentence(Action("leave", done, done)).endswith("every coral that light judges gets what is usual.")
    assert sentence(Action("leave", TODAY, TODAY)).endswith(
        "no change that was tried serves more of these corals."
    )


@pytest.mark.pinned
def test_unserved_corals_stand_in_one_sentence() -> None:
    """With places, without, and none at all."""
    placed = Unserved("a", (FreePlace("B1", 5.2),))
    assert unserved_sentence(Advice()) == ""
    assert unserved_sentence(Advice(unserved=(placed,))) == (
        "1 coral cannot be served from where it sits: move a to B1 (5.20)."
    )
    turned = Advice(unserved=(placed,), unserved_under=action("overall", dials=BOTH))
    assert unserved_sentence(turned) == (
        "Even once you turn the overall setting from 46 to 38 %, 1 coral cannot be served from where it "
        "sits: move a to B1 (5.20 then)."
    )
    likely = Advice(unserved=(Unserved("a", (FreePlace("B1", 5.2, "above"),)),))
    assert unserved_sentence(likely).endswith(
        "move a to B1 (5.20, calculated above usual, but probably within)."
    )
    many = tuple(Unserved(f"c{n}", (FreePlace("B1", 5.2),)) for n in range(6))
    assert unserved_sentence(Advice(unserved=many)).endswith("; and 2 more.")
    assert "no free place that would suit can be reached" in unserved_sentence(
        Advice(unserved=(Unserved("a", ()),))
    )
