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
    from lightdose.model.diary import Keeping
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


def adopt_move(setup_path: str, coral: str, site: str) -> Keeping:
    """Put a coral at a site in the setup, and keep it before and after."""
    from lightdose.files.adopting import adopt_site

    return _between_states(
        setup_path, lambda setup: adopt_site(Path(setup.path), coral, site), f"move: {coral} to {site}"
    )


def _between_states(setup_path: str, change: Callable[[Setup], None], why: str) -> Keeping:
    import datetime

    from lightdose.files.setup_file import read_setup
    from lightdose.workflows.keeping import keep

    today = datetime.date.today().isoformat()
    setup = read_setup(setup_path)
    keep(setup, today)
    change(setup)
    return keep(read_setup(setup_path), today, why)


def with_kept(answer: Answer, kept: Keeping) -> Answer:
    """An answer that tells what was taken over and kept too."""
    from lightdose.answers.blocks import Say
    from lightdose.answers.keep import keep_body, keep_sentence

    def body() -> dict[str, Any]:
        return {**answer.body(), "kept": keep_body(kept)}

    told = f"Taken over into {kept.setup.path}. {keep_sentence(kept)}"
    return replace(answer, blocks=(*answer.blocks, Say(told, "verdict")), body=body)
