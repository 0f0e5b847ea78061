"""`--keep`: a change is taken over into the setup, and both states, before and after, stand in the diary."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.cli.asking import Ask
    from lightdose.judge.week_of_rises import WeeklyLimit
    from lightdose.model.diary import Keeping, RecentSteps
    from lightdose.model.setup import Setup

keep_option = click.option(
    "--keep",
    "keeps",
    is_flag=True,
    help="Take it over into the setup from today on; the states before and after stand in the diary.",
)


def check_adoptable(ask: Ask, *, programme: bool = False) -> None:
    """Refuse ``--keep`` where the setup was varied, or is a kept state itself.

    ``programme`` lets variations pass that change programmes alone: those are what is adopted.
    """
    from lightdose.files.kept_setup import kept_words

    request = ask.request
    if programme:
        request = replace(request, schedule=None, all_channels=())
    if request.variation:
        cure = "write it into the setup first"
        raise click.UsageError(
            f"--keep takes the setup as its files say, without {request.variation}: {cure}"
        )
    if ask.name or kept_words(request.path):
        raise click.UsageError("--keep takes over into one setup of today")


def check_due(
    setup_path: str, after: Mapping[str, float], limit: WeeklyLimit | None = None, own: str = ""
) -> RecentSteps:
    """Refuse a change that follows a rise too soon, by the diary; OutputError, and nothing is written.

    ``after`` is the dose that it gives each coral that it is about, and ``own`` how the reasons begin of
    states that a step was kept with; empty for a change that is no step.
    """
    from lightdose.files.setup_file import read_setup
    from lightdose.judge.week_of_rises import WeeklyLimit
    from lightdose.workflows.recent_steps import NextChange, refuse_too_soon

    change = NextChange(after, limit or WeeklyLimit(), own)
    return refuse_too_soon(read_setup(setup_path), change, _today())


def due_day(days: int) -> str:
    """The day on which the step after today's is due."""
    from lightdose.judge.light_history import day_after

    return day_after(_today(), days)


def _today() -> str:
    import datetime

    return datetime.date.today().isoformat()


def adopt_schedules(setup_path: str, files: Mapping[str, Path], why: str) -> Keeping:
    """Let the setup name these schedules by fixture, and keep it before and after."""
    from lightdose.answers.words import path_from
    from lightdose.files.adopting import adopt_values

    def change(setup: Setup) -> None:
        places = {fixture.name: index for index, fixture in enumerate(setup.fixtures)}
        values: dict[tuple[str | int, ...], str] = {}
        for name, file in files.items():
            values["fixture", places[name], "schedule"] = path_from(setup, file)
        adopt_values(Path(setup.path), values)

    return _between_states(setup_path, change, why)


def move_reason(coral: str, site: str = "") -> str:
    """Why a state is kept when a coral goes to a site; without one, how all such reasons begin."""
    return f"move: {coral} to {site}"


def adopt_move(setup_path: str, coral: str, site: str) -> Keeping:
    """Put a coral at a site in the setup, and keep it before and after."""
    from lightdose.files.adopting import adopt_site

    return _between_states(
        setup_path, lambda setup: adopt_site(Path(setup.path), coral, site), move_reason(coral, site)
    )


def _between_states(setup_path: str, change: Callable[[Setup], None], why: str) -> Keeping:
    from lightdose.files.setup_file import read_setup
    from lightdose.workflows.keeping import keep

    today = _today()
    setup = read_setup(setup_path)
    keep(setup, today)
    change(setup)
    return keep(read_setup(setup_path), today, why)


def with_kept(
    answer: Answer, kept: Keeping, before: RecentSteps, due: str | None = None, more: str = ""
) -> Answer:
    """An answer that tells what was taken over and kept too, and on which day the next step is due.

    ``more`` says what to mind when it is run again then.
    """
    from lightdose.answers.blocks import Say
    from lightdose.answers.keep import keep_body, keep_sentence, unknown_sentences
    from lightdose.answers.words import typed_path

    def body() -> dict[str, Any]:
        return {**answer.body(), "kept": keep_body(kept) | {"next_step": due}}

    following = f"Next: lightdose dose {typed_path(kept.setup)}"
    if due:
        following = f"The next step is due on {due}: run this again then{more}."
    told = f"Taken over into {kept.setup.path}. {keep_sentence(kept)} {following}"
    blocks = (*answer.blocks, *map(Say, unknown_sentences(before.unknown)), Say(told, "verdict"))
    return replace(answer, blocks=blocks, body=body)
