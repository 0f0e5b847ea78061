"""The frame of every command: the options that all share, and one setup or many.

A command is a function from what was asked to an ``Answer``; ``answers`` makes a click command of it. JSON,
CSV with its Table Schema, figures, terminal, pipe, exit codes and many setups are seen to here, once.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from lightdose.cli.asking import (
    Ask,
    ManySetups,
    SetupRequest,
    all_option,
    csv_option,
    debug_option,
    dialect_option,
    example_first,
    figures_option,
    give,
    imperial_option,
    jobs_option,
    json_option,
    no_color_option,
    quiet_option,
    replace_option,
    stands_for_many,
    strict_option,
    takes_setup_as,
    takes_setups,
)

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.fixture import Fixture


def answers(
    *,
    setup: str | None = "SETUP",
    csv: str = "",
    figures: bool = False,
    imperial: bool = False,
    strict: bool = False,
    folds: bool = True,
    varies: bool = True,
    many: tuple[str, ...] = (),
    worth_a_process: int = 1,
) -> Callable[[Callable[..., Answer]], click.Command]:
    """Make a command of a function that takes an ``Ask`` and its own options and gives an ``Answer``.

    Its docstring is its help: a sentence, then the example, then the rest; the help shows the example first.

    Parameters
    ----------
    setup : what the command calls its setup, in brackets where it may be left out; None takes none,
        "SETUP..." takes many, and "A B" two, or further ones by ``--also`` where ``many`` is given
    csv : name of the file that ``--csv FOLDER`` makes; "" has no ``--csv``
    figures, imperial, strict : whether it has these options
    folds : whether ``--all`` has something to show
    varies : whether it takes a setup with variations, or only as its files say
    many : the columns of the line of a setup that failed, the last for its first problem
    worth_a_process : how many setups take about as long as a process takes to start
    """

    def decorate(function: Callable[..., Answer]) -> click.Command:
        def run(**given: Any) -> int:
            setups: ManySetups | None = given.pop("many", None)
            own = {key: given.pop(key) for key in list(given) if key in Ask.__dataclass_fields__}
            ask = Ask(**own)
            if setups is not None:
                from lightdose.cli.many import Wanted, run_many

                wanted = Wanted(function.__module__, given, ask, many, csv, worth_a_process)
                return run_many(setups, wanted)
            return give(function(ask, **given), ask, csv)

        functools.update_wrapper(run, function)
        own_options = getattr(function, "__click_params__", ())
        writes = csv or figures or any("-o" in option.opts for option in own_options)
        # Many setups call it in processes of their own.
        run.answer = function  # type: ignore[attr-defined]
        wrapped: Callable[..., Any] = run
        for has, option in (
            (True, no_color_option),
            (True, quiet_option),
            (strict, strict_option),
            (imperial, imperial_option),
            (folds, all_option),
            (bool(writes), replace_option),
            (figures, figures_option),
            (bool(csv), dialect_option),
            (bool(csv), csv_option),
            (True, json_option),
        ):
            wrapped = option(wrapped) if has else wrapped
        if setup is None:
            wrapped = debug_option(wrapped)
        elif " " in setup:
            wrapped = _takes_pair(setup, many=bool(many))(wrapped)
        elif setup.endswith("..."):
            wrapped = takes_setups(wrapped)
        else:
            wrapped = takes_setup_as(setup, required=not setup.startswith("["), varies=varies)(wrapped)
        return click.command(help=example_first(function.__doc__ or ""))(wrapped)

    return decorate


def _takes_pair(names: str, *, many: bool) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Add two arguments for setups, and ``--also`` for further ones where a command takes many."""
    before, after = names.split()

    def decorated(function: Callable[..., Any]) -> Callable[..., Any]:
        def wrapped(first: str, request: SetupRequest, **rest: Any) -> Any:
            paths = (first, *rest.pop("also", ()))
            jobs = rest.pop("jobs", None)
            if not many or not stands_for_many(paths):
                return function(first=first, request=request, **rest)
            if request.path:
                other = after.strip("[]")
                raise click.UsageError(
                    f"a comparison takes two setups: leave out {other}, or --also and folders of setups"
                )
            setups = ManySetups(paths, replace(request, path=first), jobs)
            return function(many=setups, request=request, **rest)

        functools.update_wrapper(wrapped, function)
        made: Callable[..., Any] = takes_setup_as(after, required=not after.startswith("["))(wrapped)
        if many:
            also = "A page for this setup too; repeatable."
            made = click.option("--also", type=click.Path(), multiple=True, metavar="SETUP", help=also)(made)
            made = jobs_option(made)
        return click.argument("first", metavar=before, type=click.Path())(made)

    return decorated


def schedule_targets(
    ask: Ask, target: str | None, fixtures: Sequence[Fixture], option: str = "-o"
) -> dict[str, Path]:
    """Fixture -> the file that its schedule goes to; empty where none was asked for."""
    if target is None:
        return {}
    from lightdose.files.writing import file_names, output_target

    names = [f.name for f in fixtures]
    paths = [output_target(ask.place(target), name) for name in file_names(names, ".csv")]
    if len(set(paths)) < len(paths):
        raise click.UsageError(
            f"{option} {target} is one file, and there are {len(paths)} fixtures: name a folder"
        )
    return dict(zip(names, paths, strict=True))
