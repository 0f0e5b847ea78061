"""``lightdose selftest``: is this installation whole, and does it compute what is published?"""

from __future__ import annotations

import click

from lightdose.cli.options import debug_option, json_option


@click.command()
@json_option
@debug_option
@click.pass_context
def command(ctx: click.Context, as_json: bool) -> None:
    """Check this installation: its data, its libraries, and published values on this machine.

    \b
    Example:
      lightdose selftest

    Every line says what was expected, what came out and where the expectation is from: published (a named
    source), identity (an exact property), pinned (our own earlier value, which proves only that nothing
    moved). Exit code 1 where a check fails.
    """
    from lightdose.cli.init import example_folder
    from lightdose.workflows.selftest import self_test

    found = self_test(example_folder())
    if as_json:
        from lightdose.files.results_json import dump
        from lightdose.files.self_test_json import self_test_json

        click.echo(dump(self_test_json(found)))
    else:
        from lightdose.present.self_test_text import self_test_lines

        for line in self_test_lines(found):
            click.echo(line)
    if found.failed:
        ctx.exit(1)
