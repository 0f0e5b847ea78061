"""`lightdose compare`: two setups, or one and a variation of it, beside one another."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.comparison import Comparison
    from lightdose.present.figures.canvas import Drawing


@answers(setup="A [B]", csv="comparison.csv", figures=True, strict=True)
@click.option(
    "--site", "sites", multiple=True, metavar="NAME", help="Show this site in the figures; repeatable."
)
def command(ask: Ask, sites: tuple[str, ...]) -> Answer:
    """What changes from one setup to another for every site and coral, and why.

    \b
    Example:
      lightdose compare my-tank/setup.toml other/setup.toml
      lightdose compare my-tank/setup.toml --fixture-height "25 cm" --figures figures

    Without B, B is A with --schedule, --all-channels, --fixture-height or --swap-fixture; with B they change
    B only. Sites and corals are matched by name. The change of a dose is split into brighter and longer,
    exactly.
    """
    from lightdose.answers.compare import compare_answer

    if sites and not ask.figures:
        raise click.UsageError("--site chooses what --figures shows: add --figures DIR")
    comparison = _compared(ask)
    return replace(compare_answer(comparison), pictures=lambda: _pictures(comparison, sites))


def _compared(ask: Ask) -> Comparison:
    from lightdose.cli.asking import SetupRequest
    from lightdose.workflows.compare import compare

    first, other = ask.pair()
    if other is not None:
        return compare(first.read(), other.read())
    if not first.variation:
        raise click.UsageError(
            "there is nothing to compare with: name B, or vary A with --schedule, --all-channels, "
            "--fixture-height or --swap-fixture"
        )
    a = SetupRequest(first.path).read()
    return compare(a, first.read(), names=(a.title, f"the same with {first.variation}"))


def _pictures(comparison: Comparison, sites: tuple[str, ...]) -> list[Drawing]:
    from lightdose.judge.map_choice import shown_sites
    from lightdose.present.figures.comparison import comparison_drawings
    from lightdose.workflows.compare import with_days

    shown = with_days(comparison, shown_sites(comparison, sites))
    return comparison_drawings(comparison, shown.sites, shown.days, shown.spectra)
