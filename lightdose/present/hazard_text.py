"""The answer of `hazard` in words and tables: how to behave first, figures after."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, TextIO

from lightdose.model.hazard import Exposure, Hazard, LimitKey, LimitTime, Stare, duration_words
from lightdose.model.setup import LengthUnit
from lightdose.present.labels import length, literal, number
from lightdose.present.tables import Column, print_table, say, terminal_console

LIMIT_NAMES: Final[dict[LimitKey, str]] = {
    "blue_light_irradiance": "blue light, all of it",
    "blue_light_radiance": "blue light, one emitter",
    "actinic_uv": "ultraviolet, skin and eye",
    "uv_a": "ultraviolet UV-A, eye",
}
LIMIT_SYMBOLS: Final[dict[LimitKey, tuple[str, str]]] = {
    "blue_light_irradiance": ("E_B", "W/m2"),
    "blue_light_radiance": ("L_B", "W/m2/sr"),
    "actinic_uv": ("H_eff in 8 h", "J/m2"),
    "uv_a": ("E_UVA", "W/m2"),
}
STARING = "Staring straight into it, at full output (all channels at 100 %) and at the peak of the programme"
NEVER = "never"


def hazard_lines(hazard: Hazard, unit: LengthUnit) -> Iterator[str]:
    """Every line for pipes: behaviour, one record a fixture, distance and limit, remarks, the verdict."""
    for caution in hazard.behaviour:
        yield f"do {caution.text}\tsource {caution.source}"
    yield literal(hazard.basis.sentence)
    for stare in (*hazard.stares, *hazard.together):
        for limit in stare.limits:
            yield "\t".join(literal(field) for field in _record(stare, limit, unit))
    for remark in hazard.remarks:
        yield literal(remark)
    yield closing_line(hazard, unit)


def show_hazard(
    hazard: Hazard, unit: LengthUnit, stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print `hazard` for people: how to behave, then the figures, the verdict last."""
    console = terminal_console(stream, colour=colour, width=width)
    say(console, "Around these lights", "bold")
    for caution in hazard.behaviour:
        say(console, f"- {caution.text}")
    if hazard.stares:
        say(console, f"\n{STARING}", "bold")
        say(console, literal(hazard.basis.sentence), "italic")
        reached = _reached(hazard)
        if reached:
            rows = [
                (s, t)
                for s in (*hazard.stares, *hazard.together)
                for t in s.limits
                if t.key in reached and not _said_before(hazard, s, t)
            ]
            print_table(console, _columns(rows, unit), [False] * len(rows), indispensable=4)
        for sentence in (*_together(hazard), *_unreached(hazard, reached), *certainty_sentences(hazard)):
            say(console, sentence)
        say(console, "\nWhat the limits are, and what is left out", "bold")
        for limit in {t.key: t for s in hazard.stares for t in s.limits}.values():
            say(console, f"- {limit.limit} [{limit.source}]")
    for remark in hazard.remarks:
        say(console, f"- {literal(remark)}")
    console.print()
    say(console, closing_line(hazard, unit), "bold")


def certainty_sentences(hazard: Hazard) -> list[str]:
    """By which factors the true figures may differ, one sentence for fixtures that share them."""
    by_factor: dict[tuple[float, float], list[str]] = {}
    for stare in hazard.stares:
        names = by_factor.setdefault(stare.factor_95, [])
        if stare.fixture not in names:
            names.append(stare.fixture)
    return [
        f"The true figures of {literal(', '.join(names))} may be {low:.2g} to {high:.2g} times these, and "
        "the times as much longer or shorter (about 95 %; our choice of uncertainties)."
        for (low, high), names in by_factor.items()
    ]


def closing_line(hazard: Hazard, unit: LengthUnit) -> str:
    """The verdict, and the next useful command."""
    path = hazard.setup.path or "setup.toml"
    following = literal(f'Next: lightdose dose "{path}"' if " " in path else f"Next: lightdose dose {path}")
    if not hazard.stares:
        return f"No fixture is enabled: there is no light to stare into. {following}"
    timed = [(t.full_output_s, s, t) for s in hazard.stares for t in s.limits if t.full_output_s is not None]
    if not timed:
        return (
            "No limit is reached at these distances, even at full output; do not stare into it all the same. "
            f"{following}"
        )
    seconds, stare, limit = min(timed, key=lambda found: found[0])
    what = LIMIT_NAMES[limit.key].partition(",")[0]
    return (
        f"Do not look into it: from {length(stare.distance_m, unit)} {unit} {literal(stare.fixture)} at full "
        f"output reaches the limit for {what} in {duration_words(seconds)}. {following}"
    )


def _reached(hazard: Hazard) -> list[LimitKey]:
    """The limits that some fixture, or all together, reach at full output."""
    return [
        key
        for key in LIMIT_NAMES
        if any(
            t.key == key and t.full_output_s is not None
            for s in (*hazard.stares, *hazard.together)
            for t in s.limits
        )
    ]


def _said_before(hazard: Hazard, stare: Stare, limit: LimitTime) -> bool:
    """Whether a row would repeat another: radiance is the same from every distance, and does not add."""
    if limit.key != "blue_light_radiance":
        return False
    return stare in hazard.together or stare.distance_m != hazard.stares[0].distance_m


def _together(hazard: Hazard) -> list[str]:
    if not hazard.together:
        return []
    return ["All together is the most that it can be: each fixture at that distance at once."]


def _unreached(hazard: Hazard, reached: Sequence[LimitKey]) -> list[str]:
    known = {t.key for s in hazard.stares for t in s.limits}
    names = [LIMIT_NAMES[key] for key in LIMIT_NAMES if key in known and key not in reached]
    if not names:
        return []
    return [f"Not reached at full output, whether in seconds or over a day: {'; '.join(names)}."]


def _figure(exposure: Exposure, key: LimitKey) -> str:
    value = {
        "blue_light_irradiance": exposure.e_b_w_m2,
        "blue_light_radiance": exposure.l_b_w_m2_sr,
        "actinic_uv": exposure.h_eff_8h_j_m2,
        "uv_a": exposure.e_uv_a_w_m2,
    }[key]
    return "-" if value is None else number(value)


def _time(seconds: float | None) -> str:
    return NEVER if seconds is None else duration_words(seconds).removeprefix("about ")


def _reached_in(seconds: float | None) -> str:
    return "never reached" if seconds is None else f"reached in {_time(seconds)}"


def _from(stare: Stare, limit: LimitTime, unit: LengthUnit) -> str:
    if limit.key == "blue_light_radiance":
        return "any distance"
    return f"{length(stare.distance_m, unit)} {unit}"


def _columns(rows: Sequence[tuple[Stare, LimitTime]], unit: LengthUnit) -> list[Column]:
    signs = [LIMIT_SYMBOLS[t.key] for _, t in rows]
    full = [
        f"{sign} {_figure(s.full_output, t.key)} {u}" for (s, t), (sign, u) in zip(rows, signs, strict=True)
    ]
    peak = [_figure(s.programme, t.key) for s, t in rows]
    return [
        Column("fixture", tuple(literal(s.fixture) for s, _ in rows), name=True),
        Column("from", tuple(_from(s, t, unit) for s, t in rows)),
        Column("limit for", tuple(LIMIT_NAMES[t.key] for _, t in rows), name=True),
        Column("full output:\nreached in", tuple(_time(t.full_output_s) for _, t in rows), right=True),
        Column("programme:\nreached in", tuple(_time(t.programme_s) for _, t in rows), right=True),
        Column("figure at\nfull output", tuple(full)),
        Column("at the\npeak", tuple(peak), right=True),
    ]


def _record(stare: Stare, limit: LimitTime, unit: LengthUnit) -> list[str]:
    sign, figure_unit = LIMIT_SYMBOLS[limit.key]
    low, high = stare.factor_95
    return [
        f"fixture {stare.fixture}",
        f"from {_from(stare, limit, unit)}",
        f"limit for {LIMIT_NAMES[limit.key]}",
        f"full output {sign} {_figure(stare.full_output, limit.key)} {figure_unit}",
        _reached_in(limit.full_output_s),
        f"programme {sign} {_figure(stare.programme, limit.key)} {figure_unit}",
        _reached_in(limit.programme_s),
        f"times {low:.2g}-{high:.2g} (95 %)",
        f"limit {limit.limit}",
        f"source {limit.source}",
    ]
