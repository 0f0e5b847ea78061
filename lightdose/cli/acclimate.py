"""`lightdose acclimate`: dated steps from today's light to another, slow enough for every coral."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.adopting import (
    adopt_schedules,
    check_adoptable,
    check_due,
    due_day,
    keep_option,
    with_kept,
)
from lightdose.cli.asking import (
    Ask,
    SetupRequest,
    days_option,
    dialect_option,
    inputs_of,
    rise_option,
    save_schedules,
    start_date,
)
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.answers.answer import Answer
    from lightdose.judge.earlier_light import Previous
    from lightdose.model.diary import RecentSteps
    from lightdose.model.plans import Acclimation
    from lightdose.present.figures.canvas import Drawing

OWN = "acclimate: "
"""Begins the reason of a state that a step was kept with."""


@answers(setup="FROM TO", figures=True, folds=False)
@click.option(
    "-o", "--output", metavar="DIR", help="Write one schedule CSV a step and fixture into this folder."
)
@rise_option
@days_option
@click.option("--start", metavar="YYYY-MM-DD", help="Date of the first step.")
@click.option(
    "--previous",
    multiple=True,
    metavar="CORAL=DOSE",
    help='What a coral lived in, mol/m2/day, or "unknown"; repeatable.',
)
@dialect_option
@keep_option
def command(
    ask: Ask,
    output: str | None,
    rise: float,
    days: int,
    start: str | None,
    previous: tuple[str, ...],
    keeps: bool,
) -> Answer:
    """Steps from today's light to another, slow enough for every coral.

    \b
    Example:
      lightdose acclimate today/setup.toml planned/setup.toml -o steps --start 2026-03-01
      lightdose acclimate tank/setup.toml tank/setup.toml --schedule brighter.csv -o brighter

    FROM is today's setup, TO the other one; the options that vary a setup change TO only. Corals are matched
    by name. One that FROM lacks is a newcomer: say what it lived in with previous = 4.6 in its [[coral]], or
    with --previous. Where a light is not measured, the first step keeps to the upper end of its 95 % range,
    and the answer says how to go on from a reading. Rise per week: common practice, no published rule per
    week. Steps are written in whole minutes and tenths of a percent, and keep the limit as they are written.
    With --keep, FROM and TO are one setup with --schedule, and it runs the first step from today on; run it
    again, with another DIR, on the day of the next step: sooner is refused.
    """
    from lightdose.answers.acclimate import acclimate_answer
    from lightdose.judge.acclimation import AcclimationRequest
    from lightdose.workflows.plans import acclimation

    if keeps:
        _check_keep(ask, output, start)
    asked = AcclimationRequest(rise / 100, days, start_date(start), _previous(previous))
    way = acclimation(SetupRequest(ask.first).read(), ask.setup(), asked)
    before = _check_due(way) if keeps else None
    files = _write_steps(ask, way, output) if output else []
    answer = replace(acclimate_answer(way, files), pictures=lambda: [_drawing(way)])
    if before is None:
        return answer
    kept = adopt_schedules(way.after.path, files[0], f"{OWN}first step, {100 * way.steps[0].scale:.3g} %")
    due = due_day(days) if len(way.steps) > 1 else None
    return with_kept(answer, kept, before, due, ", with another folder after -o")


def _check_due(way: Acclimation) -> RecentSteps:
    from lightdose.judge.week_of_rises import WeeklyLimit

    doses = {coral.coral: coral.dli_mol_m2_d for coral in way.steps[0].corals}
    return check_due(way.after.path, doses, WeeklyLimit(way.rise_per_week, way.step_days), OWN)


def _check_keep(ask: Ask, output: str | None, start: str | None) -> None:
    """Refuse to take over what is not today's step of the same setup."""
    import os.path

    check_adoptable(ask, programme=True)
    if output is None or start is not None:
        raise click.UsageError("--keep takes over today's step: add -o DIR, and leave --start out")
    if os.path.realpath(ask.first) != os.path.realpath(ask.request.path):
        raise click.UsageError(
            "--keep takes over into one setup: where TO is another, put its files in the place of FROM's "
            "when you hang it, then run lightdose keep"
        )


def _drawing(way: Acclimation) -> Drawing:
    from lightdose.present.figures.placement import acclimation_drawing

    return acclimation_drawing(way)


def _previous(words: Sequence[str]) -> dict[str, Previous]:
    """Coral -> dose; a name may hold "=" itself, so the last one parts it from the dose."""
    from lightdose.files.units import UnitProblem, parse_number

    doses: dict[str, Previous] = {}
    for word in words:
        name, mark, dose = word.rpartition("=")
        name, dose = name.strip(), dose.strip()
        if not mark or not name:
            raise click.BadParameter(
                f'"{word}" is not CORAL=DOSE, such as "blue tip=4.6"', param_hint="--previous"
            )
        if name in doses:
            raise click.BadParameter(f'"{name}" stands twice', param_hint="--previous")
        if dose.casefold() == "unknown":
            doses[name] = "unknown"
            continue
        try:
            doses[name] = parse_number(dose)
        except UnitProblem as trouble:
            raise click.BadParameter(
                f'"{word}": {trouble.problem}; write a number in mol/m2/day, or unknown',
                param_hint="--previous",
            ) from None
    return doses


def _write_steps(ask: Ask, way: Acclimation, folder: str) -> list[dict[str, Path]]:
    """One schedule a step and fixture; gives fixture -> file for every step."""
    from pathlib import Path

    from lightdose.files.writing import file_names, together

    fixtures, inputs = way.after.lit_fixtures, inputs_of(way.before, way.after)
    endings = file_names([f.name for f in fixtures], ".csv")
    files = []
    with together():
        for step in way.steps:
            targets = {
                fixture.name: Path(folder) / f"day-{step.day:03d}-{ending}"
                for fixture, ending in zip(fixtures, endings, strict=True)
            }
            save_schedules(ask, targets, step.programmes, fixtures, inputs)
            files.append(targets)
    return files
