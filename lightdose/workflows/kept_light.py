"""The light of every kept state: each distinct state is read and analysed once, each lit tank solved once."""

from __future__ import annotations

import posixpath
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from lightdose.analysis import scene_of
from lightdose.errors import LightdoseError, Problem
from lightdose.files.diary_states import kept_bytes
from lightdose.files.kept_setup import KeptFiles
from lightdose.files.schedule_csv import read_schedule
from lightdose.files.setup_file import read_kept
from lightdose.judge.comparison import same_lit_tank
from lightdose.judge.kept_intervals import PlaceDraws, drawn_hours
from lightdose.judge.verdict import coral_marks
from lightdose.model.diary import CoralDay, KeptState
from lightdose.model.fixture import Fixture, Programme
from lightdose.model.light import LightField
from lightdose.model.record import FloatArray
from lightdose.model.results import Interval
from lightdose.model.setup import Coral, Receiver, Setup
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod
from lightdose.physics.emission import DOSE_WEIGHTINGS, weighting_matrix
from lightdose.physics.light_field import PreparedField, prepare_field

Contents = frozenset[tuple[str, str]]
COLOURS = ("blue", "green", "red")


class KeptSetups:
    """Reads states; of states that differ in schedules alone only the schedules are read anew."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.problems: list[Problem] = []
        self._setups: dict[Contents, Setup | None] = {}
        self._like: dict[Contents, tuple[Setup, Mapping[str, str]]] = {}
        self._programmes: dict[tuple[str, tuple[str, ...]], Programme] = {}

    def setup(self, state: KeptState) -> Setup | None:
        """The setup of a state; None, with its problems, where it cannot be read any more."""
        if state.contents not in self._setups:
            try:
                self._setups[state.contents] = self._read(state)
            except LightdoseError as trouble:
                self.problems += trouble.problems
                self._setups[state.contents] = None
        return self._setups[state.contents]

    def read(self, contents: Contents) -> Setup:
        """A setup that was read before."""
        setup = self._setups[contents]
        assert setup is not None
        return setup

    @property
    def distinct(self) -> int:
        """How many different states were read."""
        return len(self._setups)

    def _read(self, state: KeptState) -> Setup:
        text = kept_bytes(self.folder, state.files[0]).decode("utf-8-sig", "replace")
        try:
            schedules = _schedules_of(tomllib.loads(text))
        except tomllib.TOMLDecodeError:  # told by the reader below
            schedules = {}
        rest = frozenset((file, sha) for file, sha in state.contents if file not in schedules.values())
        if schedules and rest in self._like:
            return self._with_schedules(state, *self._like[rest])
        setup = read_kept(KeptFiles(self.folder, state))
        if schedules:
            self._like[rest] = setup, schedules
        return setup

    def _with_schedules(self, state: KeptState, like: Setup, schedules: Mapping[str, str]) -> Setup:
        files = {file.file: file for file in state.files}
        fixtures: list[Fixture] = []
        for fixture in like.fixtures:
            named = schedules.get(fixture.name)
            if named is None:
                fixtures.append(fixture)
                continue
            channels = tuple(c.name for c in fixture.type.channels)
            key = files[named].sha256, channels
            if key not in self._programmes:
                kept_bytes(self.folder, files[named])
                path = self.folder.joinpath(*files[named].kept_as.split("/"))
                self._programmes[key] = read_schedule(path, str(path), channels)[0]
            fixtures.append(replace(fixture, programme=self._programmes[key]))
        return replace(like, fixtures=tuple(fixtures))


def _schedules_of(document: Mapping[str, Any]) -> dict[str, str]:
    """Fixture -> the schedule file that it names; empty where one is written in the setup itself."""
    found = {}
    for fixture in document.get("fixture", []):
        name, path = (fixture.get(key) for key in ("name", "schedule"))
        if not isinstance(name, str) or not isinstance(path, str):
            return {}
        found[name] = posixpath.normpath(path.replace("\\", "/"))
    return found


class TankDay(NamedTuple):
    """A day of a tank at each of its places, in the order in which they were asked for."""

    dli: list[float]
    peak: list[float]
    lit_h: list[float]
    bands: Mapping[str, list[float]]


class LitTank:
    """One lit tank and every place in it that some state asks for."""

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        self.receivers: dict[Receiver, int] = {}
        self._field: tuple[PreparedField, LightField] | None = None
        self._draws: dict[Receiver, PlaceDraws] = {}
        self._hours_of: dict[tuple[int, ...], tuple[tuple[Fixture, ...], tuple[FloatArray, FloatArray]]] = {}
        self._intervals: dict[tuple[tuple[int, ...], Receiver], Interval] = {}
        self._day_of: dict[tuple[int, ...], tuple[tuple[Fixture, ...], TankDay]] = {}

    def ask(self, receivers: Iterable[Receiver]) -> None:
        """Places to solve with all others."""
        for receiver in receivers:
            self.receivers.setdefault(receiver, len(self.receivers))

    def solved(self) -> tuple[PreparedField, LightField]:
        """The prepared field, and light at every place that was asked for."""
        if self._field is None:
            scene = scene_of(self.setup)
            places = tuple(self.receivers)
            ready = prepare_field(
                scene, weighting_matrix(scene.tables, DOSE_WEIGHTINGS), for_points=len(places)
            )
            self._field = ready, ready.light_field(places)
        return self._field

    def day(self, fixtures: tuple[Fixture, ...]) -> TankDay:
        """The day at every place while the fixtures run these programmes, each set of them computed once."""
        key = _programmes_of(fixtures)
        if key not in self._day_of:
            _, field = self.solved()
            curve = day_curve(fixtures)
            ppfd = field.of("ppfd")
            peak, lit_h = peak_and_photoperiod(ppfd, curve)
            bands = {k: daily_light_integral(field.of(k), curve).tolist() for k in COLOURS}
            dli = daily_light_integral(ppfd, curve).tolist()
            self._day_of[key] = fixtures, TankDay(dli, peak.tolist(), lit_h.tolist(), bands)
        return self._day_of[key][1]

    def draw(self, receivers: Iterable[Receiver]) -> None:
        """Draw the light of places at full output, those that were not drawn yet together."""
        new = [r for r in dict.fromkeys(receivers) if r not in self._draws]
        if new:
            self._draws |= PlaceDraws.at(self.setup, self.solved()[0], new)

    def interval_dli(self, fixtures: tuple[Fixture, ...], receiver: Receiver) -> Interval:
        """95 % of the dose at a place that was drawn, under these programmes. [mol m-2 d-1]"""
        key = _programmes_of(fixtures)
        if (key, receiver) not in self._intervals:
            if key not in self._hours_of:
                self._hours_of[key] = fixtures, drawn_hours(fixtures)
            draws = self._draws[receiver]
            self._intervals[key, receiver] = draws.interval_dli(self._hours_of[key][1])
        return self._intervals[key, receiver]


def _programmes_of(fixtures: tuple[Fixture, ...]) -> tuple[int, ...]:
    """Which programmes run: each is read once, so it is told by its object."""
    return tuple(id(fixture.programme) for fixture in fixtures)


class KeptLight:
    """The light of corals under kept states."""

    def __init__(self, setups: KeptSetups, states: Sequence[KeptState]) -> None:
        self.setups = setups
        self._tanks: list[LitTank] = []
        self._tank_of: dict[Contents, LitTank] = {}
        self._days: dict[Contents, dict[str, CoralDay]] = {}
        self._places: dict[tuple[int, int], dict[str, Receiver]] = {}
        self._kept: list[Setup] = []
        self._like: dict[tuple[int, int], tuple[LitTank, list[int]]] = {}
        for state in states:
            setup = setups.setup(state)
            if setup is not None and state.contents not in self._tank_of:
                self._tank_of[state.contents] = self._tank_with(setup)

    def _of_corals(self, setup: Setup) -> dict[str, Receiver]:
        """The point that each coral is judged at; states that differ in schedules share it."""
        key = id(setup.corals), id(setup.sites)
        if key not in self._places:
            self._kept.append(setup)  # so that no other object takes its place in memory
            self._places[key] = _of_corals(setup)
        return self._places[key]

    def _tank_with(self, setup: Setup) -> LitTank:
        """The lit tank of a setup, with its corals' places; of those that differ in schedules the same."""
        key = id(setup.corals), id(setup.sites)
        if key not in self._like:
            tank = self._tank(setup)
            tank.ask(self._of_corals(setup).values())
            self._like[key] = tank, [tank.receivers[r] for r in self._of_corals(setup).values()]
        return self._like[key][0]

    def _tank(self, setup: Setup) -> LitTank:
        for tank in self._tanks:
            if same_lit_tank(tank.setup, setup):
                return tank
        self._tanks.append(LitTank(setup))
        return self._tanks[-1]

    def days(self, state: KeptState) -> Mapping[str, CoralDay]:
        """What every placed coral gets in a day under a state; nothing where that cannot be computed."""
        if state.contents not in self._days:
            setup = self.setups.setup(state)
            found: dict[str, CoralDay] = {}
            if setup is not None:
                try:
                    found = self._computed(setup, self._tank_of[state.contents])
                except LightdoseError as trouble:
                    self.setups.problems += trouble.problems
            self._days[state.contents] = found
        return self._days[state.contents]

    def _computed(self, setup: Setup, tank: LitTank) -> dict[str, CoralDay]:
        receivers = self._of_corals(setup)
        if not receivers:
            return {}
        day = tank.day(setup.lit_fixtures)
        corals = {coral.name: coral for coral in setup.corals}
        made = {}
        rows = self._like[id(setup.corals), id(setup.sites)][1]
        for i, (name, receiver) in zip(rows, receivers.items(), strict=True):
            dose = day.dli[i]
            coral = corals[name]
            made[name] = CoralDay(
                dose,
                day.peak[i],
                day.lit_h[i],
                {key: doses[i] / dose for key, doses in day.bands.items()} if dose > 0 else None,
                receiver.site,
                (receiver.x_m, receiver.y_m, receiver.depth_m, receiver.open_sky),
                coral.group,
                _floor(setup, coral),
            )
        return made

    def find_intervals(self, wanted: Iterable[tuple[KeptState, str]]) -> None:
        """Add the 95 % interval to days of corals; those of a lit tank are drawn together."""
        asked: dict[Contents, dict[str, Receiver]] = {}
        for state, coral in wanted:
            setup = self.setups.setup(state)
            day = self.days(state).get(coral)
            if setup is not None and day is not None and day.interval_dli is None:
                places = asked.setdefault(state.contents, {})
                places[coral] = self._of_corals(setup)[coral]
        for contents, places in asked.items():
            self._tank_of[contents].draw(places.values())
        for contents, places in asked.items():
            fixtures, tank = self.setups.read(contents).lit_fixtures, self._tank_of[contents]
            for coral, place in places.items():
                interval = tank.interval_dli(fixtures, place)
                self._days[contents][coral] = self._days[contents][coral]._replace(interval_dli=interval)


def _of_corals(setup: Setup) -> dict[str, Receiver]:
    """The point that each coral is judged at."""
    own = {r.coral: r for r in setup.receivers if r.coral is not None and r.face is None}
    sites = {r.name: r for r in setup.receivers if r.coral is None}
    return {coral.name: own.get(coral.name) or sites[coral.site] for coral in setup.corals}


def _floor(setup: Setup, coral: Coral) -> float | None:
    marks = coral_marks(setup, coral)
    return marks[0] if marks and marks[0] > 0 else None
