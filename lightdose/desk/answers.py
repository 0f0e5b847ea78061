"""What the desk answers to each question of its page."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np

from lightdose.analysis import Analysis
from lightdose.answers.words import STATE_WORDS, number, range_text
from lightdose.desk import shown
from lightdose.desk.begin import COLOURS, recognised
from lightdose.desk.diary import diary_of, life_of, noted
from lightdose.desk.light import DeskLight, SupersededError, moved
from lightdose.desk.reading_edits import readings_shown
from lightdose.desk.readings import calibrated, survey_of
from lightdose.desk.session import Desk
from lightdose.errors import LightdoseError, Problem, SetupError
from lightdose.judge.verdict import dli_state
from lightdose.model.places import Grid, PlaceWishes, PossiblePlace
from lightdose.model.setup import Setup
from lightdose.workflows.placing import place

Asked = Mapping[str, Any]
MOST_BEST: Final = 3
MOST_PROBLEMS: Final = 40
EDGE_M: Final = 0.01
"""So far beside the water a click still means its edge. Our choice. [m]"""

LEAST_APART_M: Final = 0.03
MOST_LEVELS, POINTS_ACROSS = 5, 14
"""Depths, and points along the longer side, at which a place is looked for. Our choice."""


class DeskAnswers:
    """A desk that answers; made in the background, so that the page is there at once."""

    def __init__(self, path: Path) -> None:
        self.light = DeskLight()
        self._made = threading.Event()
        self._failed: BaseException | None = None
        self._desk: Desk | None = None
        self._analysis: tuple[int, Analysis] | None = None
        threading.Thread(target=self._make, args=(path,), daemon=True).start()

    def _make(self, path: Path) -> None:
        try:
            self._desk = Desk(path)
        except BaseException as trouble:
            self._failed = trouble
        finally:
            self._made.set()

    @property
    def desk(self) -> Desk:
        """The desk, once it is made."""
        self._made.wait()
        if self._desk is None:
            assert self._failed is not None
            raise self._failed
        return self._desk

    def close(self) -> None:
        """End what is only of this process."""
        if self._made.wait(10) and self._desk is not None:
            self._desk.close()

    def answer(self, name: str, asked: Asked) -> dict[str, Any]:
        """The answer to a question by its name; LightdoseError where there is none."""
        answers: dict[str, Callable[[Asked], dict[str, Any]]] = {
            "state": lambda _: self.state(),
            "do": self.do,
            "undo": lambda _: self.step(self.desk.undo),
            "redo": lambda _: self.step(self.desk.redo),
            "try": self.tried,
            "sure": self.sure,
            "level": self.level,
            "spot": self.spot,
            "where": self.where,
            "form": self.form,
            "files": self.files,
            "programmes": self.programmes,
            "names": self.names,
            "readings": lambda _: readings_shown(self.desk.bench()),
            "survey": lambda _: survey_of(self.desk),
            "calibrate": self.calibrate,
            "diary": lambda _: diary_of(self.desk),
            "life": lambda asked: life_of(self.desk, str(asked["coral"])),
            "note": lambda asked: noted(self.desk, asked),
            "pending": lambda _: {"files": self.desk.pending(), "conflicts": self.desk.conflicts()},
            "save": self.save,
            "theirs": lambda _: self.settled(self.desk.theirs),
            "mine": lambda _: {"files": self.desk.mine_beside(), **self.state()},
            "draft": self.draft,
            "alive": self.alive,
        }
        if name not in answers:
            raise SetupError(Problem("the page asked for something that is not known here"))
        try:
            return answers[name](asked)
        except SupersededError:
            return {"superseded": True}
        except (KeyError, TypeError, ValueError) as trouble:
            if isinstance(trouble, LightdoseError):
                raise
            raise SetupError(Problem("the page asked for something that makes no sense here")) from trouble

    def problems(self, trouble: LightdoseError) -> dict[str, Any]:
        """What stands in the way, for the page."""
        return {"problems": [shown.problem_json(p) for p in trouble.problems[:MOST_PROBLEMS]]}

    # ---- state and changes ------------------------------------------------------------------------------

    def state(self) -> dict[str, Any]:
        """Everything on the page, by calculated states; ``sure`` adds how sure they are."""
        desk = self.desk
        with desk.lock:
            trouble: LightdoseError | None = None
            analysis = None
            try:
                analysis = self._quick()
            except LightdoseError as refusal:
                trouble = refusal
            made = shown.view(desk, analysis, trouble)
            return made | {"colours": list(COLOURS), **shown.groups_to_choose()} if desk.first else made

    def _setup(self) -> Setup:
        setup = self.desk.setup
        if setup is None:
            raise SetupError(Problem("the setup has problems: mend them first"))
        return setup

    def _lit_setup(self) -> Setup:
        """The setup, its field prepared."""
        with self.desk.lock:
            setup = self._setup()
            self._quick()
        return setup

    def _quick(self) -> Analysis | None:
        """The analysis of the setup as it stands, without draws at least."""
        desk = self.desk
        with desk.lock:
            if desk.setup is None:
                return None
            if self._analysis is None or self._analysis[0] != desk.version:
                field, _ = shown.scene_keys(desk, desk.setup)
                self._analysis = desk.version, self.light.quick(desk.setup, field)
            return self._analysis[1]

    def do(self, asked: Asked) -> dict[str, Any]:
        """Make a change."""
        words = self.desk.do(asked["change"])
        return {"words": words, **self.state()}

    def step(self, take: Callable[[], str]) -> dict[str, Any]:
        """Take a step back, or again."""
        words = take()
        return {"words": words, **self.state()}

    def settled(self, settle: Callable[[], None]) -> dict[str, Any]:
        """Settle a conflict."""
        settle()
        return self.state()

    def draft(self, asked: Asked) -> dict[str, Any]:
        """Take up what an earlier desk left, or drop it."""
        if asked["take"] is True:
            self.desk.take_draft()
        else:
            self.desk.drop_draft()
        return self.state()

    def save(self, asked: Asked) -> dict[str, Any]:
        """Write everything, and keep it in the diary."""
        from lightdose.answers.keep import keep_sentence

        desk = self.desk
        if conflicts := desk.conflicts():
            return {"conflicts": conflicts, **self.state()}
        files, kept = desk.save(str(asked.get("why", "")))
        told = keep_sentence(kept) if kept is not None else ""
        return {"saved": files, "kept": told, **self.state()}

    def alive(self, asked: Asked) -> dict[str, Any]:
        """Whether anything changed elsewhere; says that the page is still there."""
        elsewhere = self.desk.look()
        return {"version": self.desk.version, "elsewhere": elsewhere, "notice": self.desk.notice}

    # ---- light ------------------------------------------------------------------------------------------

    def tried(self, asked: Asked) -> dict[str, Any]:
        """The sentence and the corals while a hand still holds a coral somewhere."""
        setup = self._lit_setup()
        x, y, depth = (float(asked[key]) for key in ("x_m", "y_m", "depth_m"))
        tank = setup.tank
        held = moved(
            setup,
            str(asked["name"]),
            min(max(x, 0.0), tank.length_m),
            min(max(y, 0.0), tank.width_m),
            min(max(depth, 0.0), tank.water_depth_m),
        )
        return shown.told(self.light.tried(held))

    def sure(self, asked: Asked) -> dict[str, Any]:
        """What `dose` says, all draws included; "superseded" where the setup has changed meanwhile."""
        desk, version = self.desk, asked["version"]
        with desk.lock:
            setup = desk.setup
            if setup is None or version != desk.version:
                return {"superseded": True}
            self._quick()
            field, day = shown.scene_keys(desk, setup)
        analysis = self.light.sure(setup, field, day, lambda: desk.version != version)
        with desk.lock:
            if desk.version == version:
                self._analysis = version, analysis
        return {"version": version, **shown.told(analysis)}

    def level(self, asked: Asked) -> dict[str, Any]:
        """Doses on a plane, for contours: {"kind": "depth" | "from_front", "at_m": ...}."""
        kind, at_m = str(asked["kind"]), float(asked["at_m"])
        setup = self._lit_setup()
        most = setup.tank.water_depth_m if kind == "depth" else setup.tank.width_m
        if kind not in ("depth", "from_front") or not 0 <= at_m <= 100:
            raise ValueError(kind)
        return self.light.level(setup, kind, min(at_m, most))

    def spot(self, asked: Asked) -> dict[str, Any]:
        """The light at a free place, and which groups usually live in so much."""
        setup = self._lit_setup()
        tank, at = setup.tank, [float(asked[key]) for key in ("x_m", "y_m", "depth_m")]
        ends = (tank.length_m, tank.width_m, tank.water_depth_m)
        if not all(-EDGE_M <= value <= end + EDGE_M for value, end in zip(at, ends, strict=True)):
            raise ValueError("a spot outside the water")
        point = np.clip([at], 0.0, ends)
        dose, peak = self.light.at(setup, point)
        dli = float(dose[0])
        suits = [
            {"key": g.key, "name": g.name, "usual": range_text(*g.band_dli)}
            for g in setup.groups.values()
            if g.band_dli is not None and dli_state(dli, g.band_dli, g.floor_dli, g.ceiling_dli) == "within"
        ]
        return {"dli": number(dli), "peak": number(float(peak[0])), "suits": suits}

    def where(self, asked: Asked) -> dict[str, Any]:
        """The best places for a coral as the others stand: named ones that suit, then any in the water."""
        desk, name = self.desk, str(asked["coral"])
        with desk.lock:
            setup, version = self._setup(), desk.version
            self._quick()
            keys = shown.scene_keys(desk, setup)
        ready, light, draw = self.light.lit(setup, *keys, lambda: desk.version != version)
        here = {c.name: c.site for c in setup.corals}.get(name, "")
        taken = [(s.x_m, s.y_m, s.depth_m) for s in setup.sites if s.name == here]

        def best(wishes: PlaceWishes) -> list[PossiblePlace]:
            placed = place(setup, wishes, (ready, light), draw)
            return [p for c in placed.corals if c.coral == name for p in c.best]

        stocked = {c.site for c in setup.corals}
        found: list[PossiblePlace] = []
        if any(s.name not in stocked and not s.implicit for s in setup.sites):
            places = best(PlaceWishes(corals=(name,)))
            found = [p for p in places if p.standing.dli_state == "within"]
        if len(found) < MOST_BEST:
            found += best(PlaceWishes(corals=(name,), grid=_grid_of(setup)))
        apart: list[PossiblePlace] = []
        for one in found:
            at = (one.standing.spot.x_m, one.standing.spot.y_m, one.standing.spot.depth_m)
            if all(math.dist(at, other) >= LEAST_APART_M for other in taken):
                taken.append(at)
                apart.append(one)
        return {"places": [_place_json(one) for one in apart[:MOST_BEST]]}

    # ---- fields and tables ------------------------------------------------------------------------------

    def form(self, asked: Asked) -> dict[str, Any]:
        """The fields of a thing."""
        with self.desk.lock:
            names = (str(asked.get(key, "")) for key in ("name", "of"))
            return shown.form(self.desk.bench(), str(asked["table"]), *names)

    def files(self, _: Asked) -> dict[str, Any]:
        """The texts of all files, as they would be written."""
        with self.desk.lock:
            return {"files": shown.files_shown(self.desk)}

    def programmes(self, asked: Asked) -> dict[str, Any]:
        """Every programme as rows, and the day that comes of it."""
        with self.desk.lock:
            analysis = self._quick()
            rows = shown.programmes(self.desk.bench())
        return {"programmes": rows, "day": shown.day_curves(analysis) if analysis else []}

    def names(self, asked: Asked) -> dict[str, Any]:
        """What the names of a pasted list mean."""
        setup = self.desk.setup
        return {"corals": recognised(str(asked["text"])[:200_000], setup.groups if setup else None)}

    def calibrate(self, asked: Asked) -> dict[str, Any]:
        """What the readings say; taken over as a step that can be taken back."""
        told, text = calibrated(self.desk)
        self.desk.do({"do": "calibration", "calibration": text})
        return {"told": told, **self.state()}


def _grid_of(setup: Setup) -> Grid:
    """Level grids at depths at which things stand already."""
    tank = setup.tank
    depths = sorted({round(s.depth_m, 2) for s in setup.sites} or {0.5 * tank.water_depth_m})
    some = depths[:: max(1, len(depths) // MOST_LEVELS)][: MOST_LEVELS + 1]
    return Grid(max(tank.length_m, tank.width_m) / POINTS_ACROSS, tuple(some))


def _place_json(one: PossiblePlace) -> dict[str, Any]:
    spot = one.standing.spot
    return {
        "site": spot.site or "",
        "x_m": spot.x_m,
        "y_m": spot.y_m,
        "depth_m": spot.depth_m,
        "dli": number(one.standing.dli_mol_m2_d),
        "state": STATE_WORDS[one.standing.dli_state],
        "neighbours": list(one.neighbours),
    }
