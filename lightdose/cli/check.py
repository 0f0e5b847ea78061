"""``lightdose check``: read everything, say what was understood, name every problem."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import click

from lightdose.cli.options import ManySetups, SetupRequest, json_option, takes_setups

if TYPE_CHECKING:
    from lightdose.cli.many import Answer, OneOfMany
    from lightdose.errors import Problem
    from lightdose.model.setup import Setup


@click.command()
@takes_setups
@json_option
@click.pass_context
def command(ctx: click.Context, request: SetupRequest, many: ManySetups | None, as_json: bool) -> None:
    """Read every file of a setup and name every problem.

    \b
    Example:
      lightdose check my-tank/setup.toml
      lightdose check shop customer

    Several setups, or a folder without a setup.toml of its own, which stands for every setup.toml below it,
    give one line each and counts at the end.
    """
    if many:
        from lightdose.cli.many import Wanted, run_many

        wanted = Wanted("lightdose-check-many/1", ("problems", "first"), as_json=as_json, worth_a_process=50)
        ctx.exit(run_many(many, _one_of_many, wanted))
    _, problems, understood, next_command = _checked(request)
    if as_json:
        _print_json(problems, understood)
    else:
        from lightdose.errors import literal

        for sentence in understood:
            click.echo(literal(sentence))
        for problem in problems:
            click.echo(str(problem), err=True)
        _print_verdict(request.path, len(problems), next_command)
    ctx.exit(2 if problems else 0)


class _Checked(NamedTuple):
    setup: Setup | None
    problems: tuple[Problem, ...]
    understood: tuple[str, ...]
    next_command: str


def _checked(request: SetupRequest) -> _Checked:
    """The setup, or its problems; what was understood, and the command that helps most from here."""
    from lightdose.analysis import emission_problems
    from lightdose.errors import LightdoseError

    try:
        setup = request.read()
    except LightdoseError as trouble:
        return _Checked(None, trouble.problems, getattr(trouble, "understood", ()), "dose")
    problems, unscaled = emission_problems(setup)
    if not unscaled:
        return _Checked(setup, problems, setup.understood, "dose")
    waits = f"no flux stated: {'; '.join(unscaled)} (dose waits for it, or for a calibration)"
    return _Checked(setup, problems, (*setup.understood, waits), "survey")


def _one_of_many(one: OneOfMany) -> Answer:
    from lightdose.cli.many import Answer
    from lightdose.present.overview import check_overview

    setup, problems, understood, _ = _checked(one.request)
    title = setup.title if setup else "-"
    return Answer(
        check_overview(one.file, one.label, title, problems),
        result=_report(problems, understood),
        problems=problems,
    )


def _print_json(problems: Sequence[Problem], understood: Sequence[str]) -> None:
    import json

    click.echo(json.dumps(_report(problems, understood), indent=2, allow_nan=False))


def _report(problems: Sequence[Problem], understood: Sequence[str]) -> dict[str, Any]:
    from lightdose.files.problem_json import problems_json

    return {
        "format": "lightdose-check/1",
        "problems": problems_json(problems),
        "understood": list(understood),
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
