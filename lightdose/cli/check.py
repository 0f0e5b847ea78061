"""``lightdose check``: read everything, say what was understood, name every problem."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from lightdose.cli.options import SetupRequest, json_option, takes_setup

if TYPE_CHECKING:
    from lightdose.errors import Problem


@click.command()
@takes_setup
@json_option
@click.pass_context
def command(ctx: click.Context, request: SetupRequest, as_json: bool) -> None:
    """Read every file of a setup and name every problem.

    \b
    Example:
      lightdose check my-tank/setup.toml
    """
    from lightdose.analysis import emission_problems
    from lightdose.errors import LightdoseError

    problems: tuple[Problem, ...] = ()
    next_command = "dose"
    try:
        setup = request.read()
        problems, unscaled = emission_problems(setup)
        understood = setup.understood
        if unscaled:
            understood += (
                f"no flux stated: {'; '.join(unscaled)} (dose waits for it, or for a calibration)",
            )
            next_command = "survey"
    except LightdoseError as trouble:
        problems, understood = trouble.problems, getattr(trouble, "understood", ())
    if as_json:
        _print_json(problems, understood)
    else:
        for sentence in understood:
            click.echo(sentence)
        for problem in problems:
            click.echo(str(problem), err=True)
        _print_verdict(request.path, len(problems), next_command)
    ctx.exit(2 if problems else 0)


def _print_json(problems: Sequence[Problem], understood: Sequence[str]) -> None:
    import json

    report = {
        "format": "lightdose-check/1",
        "problems": [_entry(p) for p in problems],
        "understood": list(understood),
    }
    click.echo(json.dumps(report, indent=2, allow_nan=False))


def _entry(problem: Problem) -> dict[str, str | int | None]:
    import os

    place = problem.place
    return {
        "file": os.path.abspath(place.file) if place else None,
        "line": place.line or None if place else None,
        "column": place.column or None if place else None,
        "found": problem.found,
        "allowed": problem.allowed,
        "cure": problem.cure,
    }


def as_typed(path: str) -> str:
    """A path as it is typed in a command: in quotation marks where it has blanks."""
    return f'"{path}"' if " " in path else path


def _print_verdict(path: str, count: int, next_command: str) -> None:
    if count:
        click.echo(f"{count} problem{'' if count == 1 else 's'}", err=True)
        return
    click.echo(f"next: lightdose {next_command} {as_typed(path)}", err=True)
    click.echo("no problems")
