"""`lightdose keep`: today's setup and all its files, kept in the diary."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    import datetime

    from lightdose.answers.answer import Answer


@answers(folds=False, varies=False)
@click.option("--date", metavar="DATE", help="Day from which it stands; today where none is given.")
@click.option("--why", metavar="TEXT", default="", help="Why it was changed, in your words.")
@click.option(
    "--restore", nargs=2, metavar="DATE DIR", help="Write the files of that day's state into this folder."
)
def command(ask: Ask, date: str | None, why: str, restore: tuple[str, str] | None) -> Answer:
    """Keep today's setup and all its files in the diary, and tell what changed.

    \b
    Example:
      lightdose keep my-tank/setup.toml --why "winter programme" --date 2026-03-14
      lightdose keep my-tank/setup.toml --restore 2026-03-14 as-it-was

    The diary is the folder "diary" beside setup.toml. A state is kept only if a file differs from the state
    before, and only the files that differ are stored. Wherever a command takes a setup, it takes a kept
    state too: my-tank/setup.toml@2026-03-14.
    """
    if restore is not None:
        if date or why:
            raise click.UsageError("--restore writes a state that was kept: leave out --date and --why")
        return _restored(ask, *restore)
    refuse_variations(ask, "keep")
    from lightdose.answers.keep import keep_answer
    from lightdose.workflows.keeping import keep

    return keep_answer(keep(ask.setup(), diary_date(date).isoformat(), why))


def diary_date(text: str | None) -> datetime.date:
    """The day that ``--date`` names, today or earlier; today where none is named."""
    import datetime

    from lightdose.files.diary_dates import past_date
    from lightdose.files.units import UnitProblem

    today = datetime.date.today()
    if text is None:
        return today
    try:
        return past_date(text, today)
    except UnitProblem as trouble:
        problem = trouble.problem
        more = "; ".join(part for part in (problem.allowed, problem.cure) if part)
        raise click.BadParameter(f"{problem.found}: {more}", param_hint="--date") from None


def refuse_variations(ask: Ask, name: str) -> None:
    """A diary holds what the files say: neither a variation of them nor a kept state is kept again."""
    from lightdose.files.kept_setup import kept_words

    if ask.request.variation:
        cure = "write it into the setup first, or the next state would take it back"
        raise click.UsageError(
            f"{name} takes the setup as its files say, without {ask.request.variation}: {cure}"
        )
    if kept_words(ask.request.path):
        raise click.UsageError(f"{name} takes today's setup, not a kept state: leave out @ and the date")


def _restored(ask: Ask, word: str, folder: str) -> Answer:
    from pathlib import Path

    from lightdose.answers.keep import restore_answer
    from lightdose.workflows.keeping import restore, restored_by_full_path

    refuse_variations(ask, "keep --restore")
    state, written = restore(ask.request.path, word, Path(folder))
    ask.say(f"wrote {written.parent}, {len(state.files)} files")
    return restore_answer(state, written, restored_by_full_path(state, written))
