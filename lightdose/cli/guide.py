"""``lightdose guide``: the manual, a page at a time or as one page to keep."""

from __future__ import annotations

import click

from lightdose.cli.asking import (
    debug_option,
    no_color_option,
    plain_command,
    quiet_option,
    replace_option,
    say,
    wants_colour,
)

WIDEST = 100
"""Columns of a line that is easily read; our choice."""


@plain_command
@click.argument("topic", metavar="[TOPIC]", required=False)
@click.option("--html", "html_file", metavar="FILE", help="Write all pages as one, to keep and to print.")
@replace_option
@quiet_option
@no_color_option
@debug_option
def command(topic: str | None, html_file: str | None, replace: bool, quiet: bool, no_color: bool) -> None:
    """The manual: first steps, files and keys, quantities, limits, safety.

    \b
    Example:
      lightdose guide
      lightdose guide schedule
      lightdose guide --html guide.html

    Without TOPIC, all pages are listed. A page is as wide as the window, at most 100 columns; in a pipe it
    has 80.
    """
    from lightdose.guide.pages import all_pages, read_page

    if html_file is not None:
        if topic is not None:
            raise click.UsageError("--html writes all pages: leave TOPIC out")
        _save(html_file, replace, quiet)
        return
    from shutil import get_terminal_size

    from lightdose.present.guide import page_lines, topic_lines

    width = max(40, min(get_terminal_size((80, 24)).columns, WIDEST))
    if topic is None:
        lines = topic_lines(all_pages(), width)
    else:
        _refuse_command(topic)
        lines = page_lines(read_page(topic), width, bold=wants_colour(no_color))
    for line in lines:
        click.echo(line)
    if topic is None:
        say("next: lightdose guide start", quiet=quiet)


def _refuse_command(topic: str) -> None:
    """Point to the help of a command that is taken for a page."""
    from lightdose.cli import SUMMARIES
    from lightdose.errors import LightdoseError, Problem
    from lightdose.guide import TOPICS

    if topic in SUMMARIES and topic not in TOPICS:
        cure = f"`lightdose {topic} --help`, or `lightdose guide commands` for all of them"
        raise LightdoseError(Problem(f'"{topic}" is a command, not a page of the guide', cure=cure))


def _save(target: str, replace: bool, quiet: bool) -> None:
    from lightdose import __version__
    from lightdose.files.writing import page_target, write_atomically
    from lightdose.guide.pages import all_pages
    from lightdose.present.guide import guide_page

    path = page_target(target, "guide.html")
    page = guide_page(all_pages(), __version__)
    say(f"wrote {write_atomically(path, page, only_own=not replace)}", quiet=quiet)
