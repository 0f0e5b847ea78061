"""What `tune` says: the finding, what to turn, every coral and channel, who must move, what is next."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from answers.printed import as_one, on_terminal, piped
from present.made_tuning import UNSERVED, made_tuning

from lightdose.answers.answer import envelope
from lightdose.answers.tune import headline, notes, tune_answer, tune_body
from lightdose.answers.verdicts import brief_words, worst_first
from lightdose.answers.words import number
from lightdose.model.advice import OverallChange, Stand
from lightdose.model.identity import Program
from lightdose.model.plans import ChannelSetting, Moved, TuneWishes


@pytest.mark.pinned
def test_corals_that_only_a_move_serves_are_named_with_their_places() -> None:
    """Whom the light cannot serve, where each could stand with what it gets there, and who has no place."""
    text = as_one(piped(tune_answer(made_tuning(unserved=UNSERVED), {})))
    assert (
        "Even on the new programme, 2 corals cannot be served from where they sit: move stag [/] to B1 (5.20 "
        "then) or B2 (6.10 then). For 1 more no free place that would suit can be "
        "reached."
    ) in text
    assert "cannot be served" not in as_one(piped(tune_answer(made_tuning(), {})))


@pytest.mark.pinned
def test_setting_is_said_as_the_keeper_turns_it() -> None:
    """One number for all fixtures, a number each, or the levels of the table where there is no such dial."""
    tuning = made_tuning()
    assert "Overall setting: left [x] 46 to 38, with the levels of the table below." in as_one(
        piped(tune_answer(tuning, {}))
    )
    names = [f.name for f in tuning.after.setup.lit_fixtures]
    same = tuple(ChannelSetting(n, "blue 450", 0.4, 0.4) for n in names)
    both = replace(tuning, dials=tuple(OverallChange(n, 46.0, 38.0) for n in names), channels=same)
    assert "Overall 46 to 38; the levels of the channels stay as they are set." in as_one(
        piped(tune_answer(both, {}))
    )
    levels = tuple(ChannelSetting(n, "blue 450", 0.4, 0.3) for n in names)
    bare = replace(tuning, dials=(), channels=levels)
    assert "All levels times 0.75: enter those of the table below." in as_one(piped(tune_answer(bare, {})))


@pytest.mark.pinned
def test_nothing_better_is_said_as_leave_it() -> None:
    """Today's programme stays; what the bounds would do instead, and corals moved besides, are told."""
    tuning = made_tuning()
    stays = replace(tuning, after=tuning.before, unchanged=True, wishes=TuneWishes(with_moves=1))
    assert headline(stays) == (
        "Leave it: no other overall setting and no other day serves these corals noticeably better. "
        "3 of 7 corals within common practice."
    )
    assert "No coral moved besides would serve more of them." in as_one(piped(tune_answer(stays, {})))
    refused = replace(stays, refused=Stand(2, 1, 7.5))
    assert headline(refused).endswith("The best within your bounds would leave 2 within, 1 undecided.")
    moved = replace(stays, moved=Moved({"blue tip": ("ridge", "sand left")}, tuning.before))
    assert "With 1 coral moved (blue tip to sand left): 3 within, 0 undecided." in as_one(
        piped(tune_answer(moved, {}))
    )
    body = tune_body(moved, {})
    assert body["unchanged"] is True
    assert body["with_moves"]["moves"] == [{"coral": "blue tip", "from": "ridge", "to": "sand left"}]
    assert tune_body(refused, {})["refused"] == {"within": 2, "undecided": 1, "penalty": 7.5}


@pytest.mark.identity
@pytest.mark.parametrize("width", [0, 80, 100, 130])
def test_every_coral_and_channel_stands_in_pipe_and_terminal(width: int) -> None:
    """The basis and the finding first, a row a channel and a coral, the verdict and next command last."""
    tuning = made_tuning(unserved=UNSERVED)
    answer = tune_answer(tuning, {})
    lines = on_terminal(answer, width) if width else piped(answer)
    text = as_one(lines)
    assert all("\n" not in line and "\x1b" not in line for line in lines)
    assert text.startswith(f"Measure first. {tuning.before.basis.sentence}")
    assert "left [x] red 40 0 off as asked" in text
    for c in tuning.corals:
        row = (c.coral, number(c.before.dli_mol_m2_d), number(c.after.dli_mol_m2_d), brief_words(c.after))
        assert " ".join(row) in text
    assert text.endswith(f"{headline(tuning)} Next: lightdose tune tank/setup.toml -o tuned")


@pytest.mark.identity
def test_corals_of_concern_stand_first() -> None:
    """In the order that `dose` gives to the verdicts after tuning."""
    tuning = made_tuning(0.7)
    lines = piped(tune_answer(tuning, {}))
    rows = lines[next(n for n, line in enumerate(lines) if line.startswith("The corals")) + 3 :][
        : len(tuning.corals)
    ]
    for row, verdict in zip(rows, worst_first(tuning.after.verdicts), strict=True):
        assert row[4:].startswith(verdict.coral)


@pytest.mark.identity
def test_everything_holds_what_the_short_answer_leaves_out() -> None:
    """--all adds today's verdict in full, and every caution with its source."""
    tuning = made_tuning()
    short, whole = (as_one(piped(tune_answer(tuning, {}), everything=every)) for every in (False, True))
    for caution in tuning.after.cautions:
        assert f"{caution.text} [{caution.source}]" in whole
    assert "How sure this is" in whole
    assert "How sure this is" not in short


@pytest.mark.identity
def test_day_past_midnight_and_sudden_rise_are_said() -> None:
    """20:00 with 12.5 h of light ends the next morning; a rise of 40 % is too big for one day."""
    text = as_one(piped(tune_answer(made_tuning(1.4), {"left [x]": Path("out/left.csv")})))
    assert "20:00 to 08:30+1" in text
    assert "Too big a change for one day" in text
    assert "lightdose acclimate" in text
    assert "With caution" not in text
    assert "Too big" not in as_one(piped(tune_answer(made_tuning(1.1), {})))


@pytest.mark.identity
def test_day_that_ends_at_midnight_ends_at_24() -> None:
    """A day never ends before it begins: 11:00 with 13 h of light ends at 24:00."""
    tuning = made_tuning()
    assert tuning.day_after is not None
    late = replace(tuning, day_after=replace(tuning.day_after, start_h=11.0, plateau_h=6.5))
    assert "The day: 11:00 to 24:00" in as_one(piped(tune_answer(late, {})))


@pytest.mark.identity
@pytest.mark.parametrize(("factor", "said"), [(1.09, False), (1.11, True), (1.24, True), (1.26, False)])
def test_rise_of_more_than_a_week_is_a_caution_of_its_own(factor: float, said: bool) -> None:
    """10 to 25 % up at once gets a caution; below that nothing, above it the warning."""
    text = as_one(piped(tune_answer(made_tuning(factor), {})))
    assert ("10 to 25 % up at once" in text) == said
    assert ("Too big a change for one day" in text) == (factor > 1.25)


@pytest.mark.identity
def test_terminal_shows_names_literally() -> None:
    """Markup in names is not read as markup."""
    text = "\n".join(on_terminal(tune_answer(made_tuning(unserved=UNSERVED), {}), 100))
    assert "left [x]" in text
    assert "stag [/]" in text


@pytest.mark.identity
@pytest.mark.parametrize("factor", [0.7, 1.0, 1.4])
def test_counts_and_penalty_are_of_the_records_judgements(factor: float) -> None:
    """Before and after, by verdicts and as calculated, with the keys that `dose` counts by."""
    tuning = made_tuning(factor)
    answer = tune_answer(tuning, {})
    assert answer.judged == {"before": tuning.before.judgement, "after": tuning.after.judgement}
    told = envelope(answer, Program("0.0.0"))
    for when, one in (("before", tuning.before), ("after", tuning.after)):
        assert told["counts"][when] == one.judgement.counts
        assert told["calculated_counts"][when] == one.judgement.calculated_counts
        assert told["penalty"][when] == one.judgement.penalty
    assert told["all_channels"] == {"before": {"left [x]": 46.0}, "after": {"left [x]": 38.0}}


@pytest.mark.identity
def test_levels_are_percent_in_json_without_the_digits_of_a_product() -> None:
    """0.07 is 7 percent, though 100 x 0.07 is not exactly; the files of schedules are absolute."""
    fixture = made_tuning().before.setup.lit_fixtures[0].name
    channels = (ChannelSetting(fixture, "blue", 0.07, 0.29),)
    body = tune_body(replace(made_tuning(), channels=channels), {fixture: Path("new/left.csv")})
    first = body["schedules"][0]
    assert first["channels"][0]["level_percent"] == {"before": 7.0, "after": 29.0}
    assert Path(first["file"]).is_absolute()
    assert body["schedules"][1]["file"] is None


@pytest.mark.pinned
def test_blue_only_names_what_is_kept_and_cut() -> None:
    """Each channel with its share of photons, once for fixtures that share it; nothing where all may run."""
    tuning = made_tuning()
    assert notes(tuning) == []
    channels = tuple(
        ChannelSetting(fixture, channel, 0.4, 0.4, blue_share=share)
        for fixture in ("left", "right")
        for channel, share in (("blue", 0.97), ("white", 0.34))
    )
    assert notes(replace(tuning, channels=channels)) == [
        "Blue only, by photons below 500 nm (our choice: more than half): kept blue (97 %); cut white (34 %)."
    ]
