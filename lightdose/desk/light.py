"""The light of a setup that changes all the time: one prepared field, and what of it was calculated before.

What a change does not touch is kept: the field while lamps, panes, water and rock stay, the light of each
place while it stays, and the draws of each place while what is drawn stays. All of it is what a fresh run
finds, since places do not know of one another.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from lightdose import __version__
from lightdose.analysis import Analysis, light_of
from lightdose.errors import LightdoseError, SetupError
from lightdose.judge.drawn_light import DRAWS, SEED, Draw, draw_doses
from lightdose.judge.uncertain_inputs import UncertainInputs, basis_of
from lightdose.judge.verdict import judge_corals
from lightdose.model.light import LightField
from lightdose.model.record import FloatArray
from lightdose.model.setup import Receiver, Setup
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_dose, daily_light_integral, peak_and_photoperiod
from lightdose.physics.light_field import PreparedField
from lightdose.workflows.advice import advised_under

MOST_KEPT: Final = 220
"""Places whose draws are kept, half a megabyte each."""

MOST_ROWS: Final = 4000
"""Places whose light at full output is kept."""

GRID: Final = 32
"""Cells of a map of light along the longer side: our choice, for lines that are smooth enough."""


class SupersededError(LightdoseError):
    """The setup has changed while this was calculated."""


@dataclass(eq=False)
class _Field:
    """A prepared field, what it depends on, and the light of places under it."""

    key: object
    ready: PreparedField
    rows: dict[Receiver, FloatArray] = field(default_factory=dict)
    grids: dict[tuple[str, float], FloatArray] = field(default_factory=dict)


Drawn = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


class DeskLight:
    """Answers about a setup and its changes; used by several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._field: _Field | None = None
        self._drawn_key: object = None
        self._drawn: dict[Receiver, Drawn] = {}

    def quick(self, setup: Setup, fixed: object) -> Analysis:
        """Doses and calculated states, without draws.

        ``fixed`` is what a light field depends on besides its places; while it stays equal the field is kept.

        Raises
        ------
        SetupError
            If a channel of an enabled fixture has no absolute flux.
        """
        return _calculated(setup, self._light(setup, fixed)[1])

    def tried(self, setup: Setup) -> Analysis:
        """The same for a setup whose places alone differ: shade stays what it was, until it is let go."""
        assert self._field is not None
        return _calculated(setup, self._light(setup, self._field.key)[1])

    def sure(self, setup: Setup, fixed: object, day: object, superseded: Callable[[], bool]) -> Analysis:
        """Everything that `dose` says; ``SupersededError`` once that is true.

        ``day`` is what its draws depend on besides the field and the places.
        """
        ready, light, draw = self.lit(setup, fixed, day, superseded)
        return advised_under(setup, ready, light, sides=None, draw=draw)

    def lit(
        self, setup: Setup, fixed: object, day: object, superseded: Callable[[], bool]
    ) -> tuple[PreparedField, LightField, Draw]:
        """The light of a setup, and what draws it and remembers."""
        ready, light = self._light(setup, fixed)
        key = (fixed, day)

        def draw(
            inputs: UncertainInputs,
            ready: PreparedField,
            receivers: Sequence[Receiver],
            see: Callable[[int, FloatArray, FloatArray], None] = lambda *_: None,
            *,
            draws: int = DRAWS,
            seed: int = SEED,
        ) -> tuple[FloatArray, FloatArray]:
            return self._draw(key, superseded, inputs, ready, receivers, see, draws=draws, seed=seed)

        return ready, light, draw

    def at(self, setup: Setup, points: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Dose and peak at free points, (n, 3), under open sky. [mol m-2 d-1, umol m-2 s-1]"""
        ready = self._of(setup).only("ppfd")
        response = ready.at(points)[:, :, 0]
        curve = day_curve(setup.lit_fixtures)
        return daily_light_integral(response, curve), peak_and_photoperiod(response, curve)[0]

    def level(self, setup: Setup, kind: str, at_m: float) -> dict[str, Any]:
        """Doses on a level ("depth") or upright ("from_front") plane: columns, rows and values.

        Values stand row by row in mol m-2 d-1; None inside a solid.
        """
        ready, tank = self._of(setup), setup.tank
        across, down = tank.length_m, tank.width_m if kind == "depth" else tank.water_depth_m
        step = max(across, down) / GRID
        columns = np.linspace(0, across, max(4, round(across / step) + 1))
        rows = np.linspace(0, down, max(4, round(down / step) + 1))
        held = self._field
        assert held is not None
        key = (kind, round(at_m, 4))
        response = held.grids.get(key)
        if response is None:
            inside = 1e-4
            x, y = (grid.ravel() for grid in np.meshgrid(columns, rows))
            x = np.clip(x, inside, across - inside)
            y = np.clip(y, inside, down - inside)
            flat = np.full(x.size, at_m)
            points = np.column_stack((x, y, flat) if kind == "depth" else (x, flat, y))
            response = ready.only("ppfd").at(points)[:, :, 0]
            with self._lock:
                held.grids[key] = response
                while len(held.grids) > 12:
                    del held.grids[next(iter(held.grids))]
        doses = daily_light_integral(response, day_curve(setup.lit_fixtures))
        return {
            "columns_m": [round(float(v), 5) for v in columns],
            "rows_m": [round(float(v), 5) for v in rows],
            "dli": [round(float(v), 4) for v in doses],
        }

    # ---- what is kept -----------------------------------------------------------------------------------

    def _of(self, setup: Setup) -> PreparedField:
        assert self._field is not None
        return self._field.ready.running(setup.lit_fixtures)

    def _light(self, setup: Setup, fixed: object) -> tuple[PreparedField, LightField]:
        """The field of a setup, its new places calculated and the others remembered."""
        with self._lock:
            held = self._field
        if held is None or held.key != fixed:
            ready, light = light_of(setup)
            held = _Field(fixed, ready)
            held.rows.update(zip(light.receivers, light.response, strict=True))
            with self._lock:
                self._field = held
            return ready, light
        receivers = setup.receivers
        missing = [r for r in receivers if r not in held.rows]
        if missing:
            found = held.ready.light_field(missing)
            with self._lock:
                if len(held.rows) > MOST_ROWS:
                    held.rows = {r: held.rows[r] for r in receivers if r in held.rows}
                held.rows.update(zip(missing, found.response, strict=True))
        ready = held.ready.running(setup.lit_fixtures)
        shape = (len(receivers), *ready.mixture.in_air.shape)
        response = np.array([held.rows[r] for r in receivers]).reshape(shape)
        return ready, LightField(receivers, ready.scene.channels, ready.weightings.keys, response)

    def _draw(
        self,
        key: object,
        superseded: Callable[[], bool],
        inputs: UncertainInputs,
        ready: PreparedField,
        receivers: Sequence[Receiver],
        see: Callable[[int, FloatArray, FloatArray], None],
        *,
        draws: int,
        seed: int,
    ) -> tuple[FloatArray, FloatArray]:
        """``draw_doses`` of places that were not drawn before under the same key."""

        def stop() -> None:
            if superseded():
                raise SupersededError("the setup has changed")

        keeps = len(receivers) <= MOST_KEPT
        with self._lock:
            if self._drawn_key != key:
                self._drawn_key, self._drawn = key, {}
            held = {r: self._drawn[r] for r in receivers if r in self._drawn}
        rest = [i for i, r in enumerate(receivers) if r not in held]
        dli, peak = np.zeros((len(receivers), 2)), np.zeros((len(receivers), 2))
        seen: dict[int, tuple[FloatArray, FloatArray]] = {}

        def watched(row: int, doses: FloatArray, response: FloatArray) -> None:
            stop()
            see(rest[row], doses, response)
            if keeps:
                seen[row] = doses.copy(), response.copy()

        stop()
        if rest:
            asked = [receivers[i] for i in rest]
            dli[rest], peak[rest] = draw_doses(inputs, ready, asked, watched, draws=draws, seed=seed)
        for i, r in enumerate(receivers):
            if r in held:
                dli[i], peak[i], doses, response = held[r]
                see(i, doses, response)
        if keeps:
            new = {receivers[rest[row]]: (dli[rest[row]], peak[rest[row]], *v) for row, v in seen.items()}
            self._keep(key, held | new)
        stop()
        return dli, peak

    def _keep(self, key: object, used: dict[Receiver, Drawn]) -> None:
        """Keep draws, and let those go that were not used for longest."""
        with self._lock:
            if self._drawn_key != key:
                return
            others = {r: drawn for r, drawn in self._drawn.items() if r not in used}
            for r in list(others)[: max(0, len(others) + len(used) - MOST_KEPT)]:
                del others[r]
            self._drawn = others | used


def _calculated(setup: Setup, light: LightField) -> Analysis:
    """Doses and calculated states alone: what a hand waits for."""
    curve = day_curve(setup.lit_fixtures)
    dose = daily_dose(light, curve)
    return Analysis(
        setup=setup,
        basis=basis_of(setup),
        light_field=light,
        day_curve=curve,
        dose=dose,
        verdicts=judge_corals(setup, light, dose),
        fixtures=(),
        cautions=(),
        version=__version__,
    )


def moved(setup: Setup, coral: str, x_m: float, y_m: float, depth_m: float) -> Setup:
    """The setup with a coral at a place of its own, as a hand holds it there."""
    own = next((c for c in setup.corals if c.name == coral), None)
    if own is None:
        raise SetupError(f"no coral {coral!r} stands in this tank")
    here = next(s for s in setup.sites if s.name == own.site)
    if here.implicit:
        sites = tuple(
            replace(s, x_m=x_m, y_m=y_m, depth_m=depth_m) if s.name == own.site else s for s in setup.sites
        )
        return replace(setup, sites=sites)
    name = coral
    while any(s.name == name for s in setup.sites):
        name += "'"
    free = replace(here, name=name, x_m=x_m, y_m=y_m, depth_m=depth_m, implicit=True, rack=None)
    free = replace(free, open_sky=own.open_sky, own_sky=own.own_sky, face=None)
    moved_coral = replace(own, site=name, open_sky=1.0, own_sky=False)
    corals = tuple(moved_coral if c.name == coral else c for c in setup.corals)
    return replace(setup, sites=(*setup.sites, free), corals=corals)
