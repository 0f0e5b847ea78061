"""`hazard`: how to behave around these lights first, how soon staring into them reaches a limit after."""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from lightdose.answers.answer import Answer, OverviewRow
from lightdose.answers.blocks import Point, Points, Say, Section
from lightdose.answers.field import NONE, Field, Sheet, as_json, said, table
from lightdose.answers.words import length, number, typed_path
from lightdose.errors import literal
from lightdose.model.record import dataclass
from lightdose.model.results import DirectView, Exposure, Hazard, LimitKey, LimitTime, duration_words
from lightdose.model.setup import LengthUnit

LIMIT_NAMES: Final[dict[LimitKey, str]] = {
    "blue_light_irradiance": "blue light, all of it",
    "blue_light_radiance": "blue light, one emitter",
    "actinic_uv": "ultraviolet, skin and eye",
    "uv_a": "ultraviolet UV-A, eye",
}
FIGURES: Final[dict[LimitKey, tuple[str, str, str]]] = {
    "blue_light_irradiance": ("e_b_w_m2", "E_B", "W/m2"),
    "blue_light_radiance": ("l_b_w_m2_sr", "L_B", "W/m2/sr"),
    "actinic_uv": ("h_eff_8h_j_m2", "H_eff in 8 h", "J/m2"),
    "uv_a": ("e_uv_a_w_m2", "E_UVA", "W/m2"),
}
"""Field of an exposure, symbol and unit of the figure that each limit holds."""

STARING: Final = (
    "Staring straight into it, at full output (all channels at 100 %) and at the peak of the programme"
)


@dataclass(frozen=True)
class Row:
    """One fixture, distance and limit."""

    view: DirectView
    limit: LimitTime
    unit: LengthUnit = "cm"

    @property
    def any_distance(self) -> bool:
        """Radiance is the same from everywhere."""
        return self.limit.key == "blue_light_radiance"

    @property
    def start(self) -> str:
        """From where, in words."""
        return (
            "any distance" if self.any_distance else f"{length(self.view.distance_m, self.unit)} {self.unit}"
        )

    def figure(self, exposure: Exposure) -> str:
        """What the limit holds, of one exposure."""
        value = getattr(exposure, FIGURES[self.limit.key][0])
        return NONE if value is None else number(value)

    @property
    def full_figure(self) -> str:
        """The figure at full output, with its symbol and unit."""
        _, symbol, unit = FIGURES[self.limit.key]
        return f"{symbol} {self.figure(self.view.full_output)} {unit}"


def _time(seconds: float | None) -> str:
    return "never" if seconds is None else duration_words(seconds).removeprefix("about ")


def _full(_: Row) -> str:
    return "full"


def _figure(of: str, name: str) -> Callable[[Row], float | None]:
    return lambda row: getattr(getattr(row.view, of), name)


def _view(exposure: Exposure, time_s: float | None) -> dict[str, float | None]:
    figures = {name: getattr(exposure, name) for name, _, _ in FIGURES.values()}
    return figures | {"time_to_limit_s": time_s}


# fmt: off
_EXPOSURE: Final = (
    ("e_b_w_m2", "W m-2", "blue-light weighted irradiance"),
    ("l_b_w_m2_sr", "W m-2 sr-1", "blue-light weighted radiance of an emitter"),
    ("h_eff_8h_j_m2", "J m-2", "actinic UV exposure in 8 h"),
    ("e_uv_a_w_m2", "W m-2", "irradiance of 315-400 nm"),
)
FIELDS: Final = (
    Field("fixture", "fixture", lambda r: r.view.fixture, kind="string", fold=True, at={"hazard": 0}),
    Field("distance_m", "distance", lambda r: r.view.distance_m, unit="m",
          what="through air from the emitting area to the eye"),
    said("from", "from", lambda r: r.start, kind="string", at={"hazard": 1}),
    Field("limit_key", "limit", lambda r: r.limit.key, kind="string"),
    said("limit_for", "limit for", lambda r: LIMIT_NAMES[r.limit.key], kind="string", fold=True,
         at={"hazard": 2}),
    Field("output", "output", _full, csv=False),
    *(Field(name, name, _figure("full_output", name), unit=unit, what=f"{what} at full output") for name,
      unit, what in _EXPOSURE),
    Field("time_to_limit_s", "full output:\nreached in", lambda r: r.limit.full_output_s, unit="s",
          what="at full output; empty where the limit is never reached"),
    said("full_in", "full output:\nreached in", lambda r: _time(r.limit.full_output_s), at={"hazard": 3}),
    *(Field(f"programme_{name}", name, _figure("programme", name), unit=unit, key="",
          what=f"{what} at the programme's peak") for name,
      unit, what in _EXPOSURE),
    Field("programme_time_to_limit_s", "programme", lambda r: r.limit.programme_s, unit="s", key="",
          what="at the programme's peak; empty where the limit is never reached"),
    Field("programme_peak", "programme", lambda r: _view(r.view.programme, r.limit.programme_s), csv=False),
    said("programme_in", "programme:\nreached in", lambda r: _time(r.limit.programme_s), at={"hazard": 4}),
    said("full_figure", "figure at\nfull output", lambda r: r.full_figure, at={"hazard": 5}),
    said("peak_figure", "at the\npeak", lambda r: r.figure(r.view.programme), at={"hazard": 6}),
    Field("factor_95", "times, 95 %", lambda r: r.view.factor_95,
          parts=(("factor_low_95", "lowest factor by which the true figures may differ"), ("factor_high_95",
                "highest factor by which the true figures may differ"))),
    Field("limit", "limit", lambda r: r.limit.limit, kind="string"),
    Field("source", "source", lambda r: r.limit.source, kind="string"),
)
# fmt: on


def hazard_answer(hazard: Hazard, unit: LengthUnit) -> Answer:
    """Behaviour first, then one row a fixture, distance and limit, and for all fixtures together."""
    own, together = _rows(hazard.views, unit), _rows(hazard.together, unit)
    body = {
        "behaviour": [{"code": c.code, "text": c.text, "source": c.source} for c in hazard.behaviour],
        "fixtures": [as_json(FIELDS, row) for row in own],
        "together_at_most": [as_json(FIELDS, row) for row in together],
        "remarks": list(hazard.remarks),
    }
    behaviour = tuple(Point(c.text, source=c.source) for c in hazard.behaviour)
    remarks = tuple(map(Point, hazard.remarks))
    figures = (_figures(hazard, [*own, *together]), _limits(own)) if own else ()
    return Answer(
        "hazard",
        (
            Section("Around these lights", (Points(behaviour),)),
            *figures,
            *([Section("Besides", (Points(remarks),))] if remarks else []),
            Say(closing_line(hazard, unit), "verdict"),
        ),
        lambda: body,
        title=hazard.setup.title,
        basis=hazard.basis.key,
        cautions=hazard.behaviour,
        setups=(hazard.setup,),
        sheet=Sheet(FIELDS, [*own, *together]),
        overview=_overview(hazard, unit),
    )


def _rows(views: tuple[DirectView, ...], unit: LengthUnit) -> list[Row]:
    return [Row(view, limit, unit) for view in views for limit in view.limits]


def _figures(hazard: Hazard, rows: list[Row]) -> Section:
    """The limits that are reached at full output, and in words those that are not."""
    reached = {row.limit.key for row in rows if row.limit.full_output_s is not None}
    missed = [
        name
        for key, name in LIMIT_NAMES.items()
        if key not in reached and any(r.limit.key == key for r in rows)
    ]
    shown = [row for row in rows if row.limit.key in reached and not _repeats(hazard, row)]
    said_after = [
        "All together is the most that it can be: each fixture at that distance at once."
        if hazard.together
        else "",
        f"Not reached at full output, whether in seconds or over a day: {'; '.join(missed)}."
        if missed
        else "",
        *_certainty(hazard),
    ]
    return Section(
        STARING,
        (
            Say(hazard.basis.sentence, "basis"),
            *([table("hazard", "How soon each limit is reached", FIELDS, shown, least=4)] if shown else []),
            *(Say(text) for text in said_after if text),
        ),
    )


def _repeats(hazard: Hazard, row: Row) -> bool:
    """Whether a row would repeat another: radiance is the same from every distance, and does not add."""
    first = hazard.views[0].distance_m
    return row.any_distance and (row.view in hazard.together or row.view.distance_m != first)


def _limits(rows: list[Row]) -> Section:
    """What the limits are, and their source."""
    limits = {row.limit.key: row.limit for row in rows}.values()
    points = tuple(Point(limit.limit, source=limit.source) for limit in limits)
    return Section("What the limits are, and what is left out", (Points(points),))


def _certainty(hazard: Hazard) -> list[str]:
    """By which factors the true figures may differ, one sentence for fixtures that share them."""
    by_factor: dict[tuple[float, float], list[str]] = {}
    for view in hazard.views:
        names = by_factor.setdefault(view.factor_95, [])
        if view.fixture not in names:
            names.append(view.fixture)
    return [
        f"The true figures of {literal(', '.join(names))} may be {low:.2g} to {high:.2g} times these, and "
        "the times as much longer or shorter (about 95 %; our choice of uncertainties)."
        for (low, high), names in by_factor.items()
    ]


def _soonest(hazard: Hazard) -> tuple[float, DirectView, str] | None:
    """The limit that is reached first at full output: how soon, of whom, and what it is of."""
    timed = [(t.full_output_s, s, t) for s in hazard.views for t in s.limits if t.full_output_s is not None]
    if not timed:
        return None
    seconds, view, limit = min(timed, key=lambda entry: entry[0])
    return seconds, view, LIMIT_NAMES[limit.key].partition(",")[0]


def closing_line(hazard: Hazard, unit: LengthUnit) -> str:
    """The verdict, and the next useful command."""
    following = f"Next: lightdose dose {typed_path(hazard.setup)}"
    if not hazard.views:
        return f"No fixture is enabled: there is no light to stare into. {following}"
    soonest = _soonest(hazard)
    if soonest is None:
        return (
            "No limit is reached at these distances, even at full output; do not stare into it all the same. "
            f"{following}"
        )
    seconds, view, what = soonest
    return (
        f"Do not look into it: from {length(view.distance_m, unit)} {unit} {literal(view.fixture)} at full "
        f"output reaches the limit for {what} in {duration_words(seconds)}{_emitter(view)}. {following}"
    )


def _emitter(view: DirectView) -> str:
    """How soon a single emitter reaches its own limit, where that is known: a panel is no small source."""
    alone = [t.full_output_s for t in view.limits if t.key == "blue_light_radiance" and t.full_output_s]
    if not alone:
        return ""
    soon = duration_words(alone[0])
    return f", all of it taken for one small source; a single emitter reaches its own in {soon}"


def _overview(hazard: Hazard, unit: LengthUnit) -> OverviewRow:
    """For many setups: the limit that is reached first at full output, from where and how soon."""
    tail = (("title", hazard.setup.title), ("basis", hazard.basis.key))
    soonest = _soonest(hazard)
    if soonest is None:
        cells = (("first limit", "never reached at these distances"), ("fixture", NONE), ("from", NONE))
        return OverviewRow((*cells, *tail), "reach no limit", (3.0,))
    seconds, view, what = soonest
    cells = (
        ("first limit", f"{what} in {duration_words(seconds)}"),
        ("fixture", view.fixture),
        ("from", f"{length(view.distance_m, unit)} {unit}"),
    )
    return OverviewRow((*cells, *tail), "reach a limit at full output", (2.0, seconds))
