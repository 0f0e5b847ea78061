"""`lightdose tune`: levels and hours that put every coral in its band."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import click

from lightdose.cli.adopting import adopt_schedules, check_adoptable, check_due, keep_option, with_kept
from lightdose.cli.asking import Ask, NumberRange, Share, dialect_option, inputs_of, save_schedules
from lightdose.cli.frame import answers, schedule_targets

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.plans import TuneWishes, Tuning
    from lightdose.present.figures.canvas import Drawing

PERCENT = Share(0, 100)
HOURS = NumberRange(0, 12)
COLOUR_SHIFT = 0.05


def _number(text: str, whole: str) -> float:
    from lightdose.files.units import UnitProblem, parse_number

    try:
        return parse_number(text.strip())
    except UnitProblem as trouble:
        raise click.BadParameter(f'"{whole}": {trouble.problem}') from None


def _cap(word: str) -> tuple[str, float]:
    """Channel and level; a name may hold "=" itself, so the last one parts it from the level."""
    name, mark, level = word.rpartition("=")
    if not mark or not name.strip():
        raise click.BadParameter(f'"{word}" is not CHANNEL=PERCENT, such as "blue=60"')
    percent = _number(level.strip().removesuffix("%"), word)
    if not 0 <= percent <= 100:
        raise click.BadParameter(f'"{word}" is outside 0 to 100 percent')
    return name.strip(), percent / 100


def _hours(text: str) -> tuple[float, float]:
    low, mark, high = text.strip().removesuffix("h").partition("-")
    bounds = _number(low, text), _number(high if mark else low, text)
    if not all(0 <= h <= 24 for h in bounds):
        raise click.BadParameter(f'"{text}" is outside 0 to 24 hours')
    return bounds


@answers(figures=True, imperial=True, strict=True)
@click.option(
    "-o", "--output", metavar="DIR|FILE", help="Write schedule CSVs here; a file for one fixture only."
)
@click.option(
    "--change",
    type=click.Choice(["overall", "fixtures", "channels"]),
    default="overall",
    show_default=True,
    help="What may change besides the plateau: one overall setting, one a fixture, or every channel's level.",
)
@click.option(
    "--prefer",
    type=click.Choice(["change", "energy"]),
    default="change",
    show_default=True,
    help="Of programmes that serve the corals alike: least change, or least energy.",
)
@click.option("--blue-only", is_flag=True, help="Only channels with most photons below 500 nm, mixed as now.")
@click.option("--off", multiple=True, metavar="CHANNEL", help="Keep this channel off; repeatable.")
@click.option(
    "--cap",
    "caps",
    multiple=True,
    type=_cap,
    metavar="CHANNEL=PERCENT",
    help='Highest level of a channel, such as "blue=60" or "left/blue=60"; repeatable.',
)
@click.option(
    "--plateau",
    "plateau_h",
    type=_hours,
    metavar="LOW-HIGH",
    help="Bounds of the plateau in hours, such as 5-9; by default today's +-3 h, lit up to 14 h.",
)
@click.option(
    "--ramp-up", "ramp_up_h", type=HOURS, metavar="HOURS", help="Length of the ramp up; today's by default."
)
@click.option("--ramp-down", "ramp_down_h", type=HOURS, metavar="HOURS", help="Length of the ramp down.")
@click.option("--least-blue", type=PERCENT, metavar="PERCENT", help="Least share of 400-500 nm at corals.")
@click.option("--most-change", type=PERCENT, metavar="PERCENT", help="Most change of any coral's dose.")
@click.option(
    "--keep-look",
    "look_tolerance",
    type=NumberRange(0, 1),
    metavar="TOLERANCE",
    help="Keep CIE x and y of all emitted light within this of today's, such as 0.01.",
)
@click.option(
    "--allow", multiple=True, metavar="CHANNEL", help="May rise although below 420 or above 600 nm."
)
@click.option(
    "--colour-shift",
    type=PERCENT,
    default=100 * COLOUR_SHIFT,
    show_default=True,
    metavar="POINTS",
    help="Most that the shares of blue and red move at a coral, with --change channels.",
)
@click.option(
    "--with-moves",
    type=click.IntRange(0),
    default=0,
    metavar="N",
    help="Also move up to N corals, and tell both.",
)
@click.option("--most-points", type=int, metavar="N", help="Most points a channel that the controller takes.")
@click.option(
    "--time-step", "time_step_min", type=int, default=1, show_default=True, metavar="MINUTES",
    help="Times in multiples of this.",
)  # fmt: skip
@click.option("--least-level", type=PERCENT, default=0.0, metavar="PERCENT", help="Least level that shines.")
@click.option("--whole-percents", is_flag=True, help="Levels in whole percents; else in tenths.")
@keep_option
@dialect_option
def command(ask: Ask, output: str | None, keeps: bool, **asked: Any) -> Answer:
    """Overall setting and hours that serve the whole tank best, never fewer corals than today.

    \b
    Example:
      lightdose tune my-tank/setup.toml -o tuned
      lightdose tune my-tank/setup.toml --blue-only --plateau 5-8 --whole-percents -o tuned
      lightdose tune my-tank/setup.toml --change channels --with-moves 2 -o tuned

    A coral within counts 0, one below or above 1, one far off 2, over all that is not known; of programmes
    with the least sum the one nearest to today's is taken. The colour is kept, and every channel keeps its
    own course through the day. What is written is read back and judged again. With --keep the setup names the
    new schedules from today on; a rise of more than 25 % at once is refused, and where corals rose within the
    week one beyond 10 % in all.
    """
    from lightdose.answers.tune import tune_answer
    from lightdose.workflows.tuning import tune

    wishes = _wishes(asked)
    if keeps:
        check_adoptable(ask)
        if output is None:
            raise click.UsageError("--keep takes over the schedules that -o writes: add -o DIR")
    setup = ask.setup()
    targets = schedule_targets(ask, output, setup.lit_fixtures)
    tuning = tune(setup, wishes)
    fixtures = tuning.after.setup.lit_fixtures
    if tuning.unchanged:
        if targets:
            ask.say("no schedule is written: today's programme stays")
        targets = {}
    before = None
    if keeps and targets:
        _refuse_sudden(tuning)
        before = check_due(setup.path, {c.coral: c.after.dli_mol_m2_d for c in tuning.corals})
    save_schedules(ask, targets, {f.name: f.programme for f in fixtures}, fixtures, inputs_of(setup))
    answer = tune_answer(tuning, targets, keeps=before is not None)
    answer = replace(answer, pictures=lambda: _drawings(ask, tuning))
    if before is None:
        return answer
    return with_kept(answer, adopt_schedules(setup.path, targets, "tune"), before)


def _refuse_sudden(tuning: Tuning) -> None:
    """Raise OutputError where the change is called too big for one day: it is not taken over in one."""
    from lightdose.errors import OutputError, Place, Problem

    if not tuning.sudden:
        return
    first, rest = tuning.sudden[0], len(tuning.sudden) - 1
    rise = "come out of the dark" if first.rise is None else f"rise by {100 * first.rise:.0f} % at once"
    more = f", and {rest} more too far" if rest else ""
    raise OutputError(
        Problem(
            f"{first.coral!r} would {rise}{more}: too big a change for one day; nothing was written",
            "at most 25 % more light at once (common practice, no published source)",
            "leave --keep out, and go there in steps with lightdose acclimate",
            Place(tuning.before.setup.path),
        )
    )


def _wishes(asked: dict[str, Any]) -> TuneWishes:
    from lightdose.model.plans import Controller, TuneWishes

    if asked["change"] != "channels" and (asked["allow"] or asked["colour_shift"] != COLOUR_SHIFT):
        raise click.UsageError("--allow and --colour-shift go with --change channels")
    can = {name: asked.pop(name) for name in Controller.__dataclass_fields__}
    return TuneWishes(**asked, controller=Controller(**can))


def _drawings(ask: Ask, tuning: Tuning) -> list[Drawing]:
    from lightdose.analysis import site_days
    from lightdose.judge.map_choice import shown_corals
    from lightdose.present.figures.tuning import tuning_drawings

    shown = shown_corals(tuning)
    receivers = [c.after.receiver for c in shown]
    before, after = site_days(tuning.before, receivers), site_days(tuning.after, receivers)
    return tuning_drawings(tuning, shown, before, after, ask.unit(tuning.before.setup))
