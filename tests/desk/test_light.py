"""Light that is kept from one change to the next equals that of a fresh run."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from desk.desk_tanks import copied

from lightdose.analysis import Analysis
from lightdose.answers.dose import dose_body
from lightdose.desk import shown
from lightdose.desk.light import DeskLight, SupersededError, moved
from lightdose.desk.session import Desk
from lightdose.files.setup_file import read_setup
from lightdose.workflows.advice import advised

KNOB = {"name": "knob", "shape": "ellipsoid", "at.x": "25", "at.y": "40", "at.height": "4"}
KNOB |= {"size.x": "6", "size.y": "6", "size.z": "8"}
CHANGES = (
    {"do": "put", "kind": "coral", "name": "Scheibe ganz oben", "x_m": 0.4, "y_m": 0.1, "depth_m": 0.42},
    {"do": "seat", "name": "verirrte Muschel", "site": "Sand rechts"},
    {"do": "overall", "percent": 38},
    {"do": "put", "kind": "fixture", "name": "links", "x_m": 0.17, "height_m": 0.2},
    {"do": "set", "table": "coral", "name": "rosa Büschel", "key": "height", "text": "7"},
    {"do": "set", "table": "water", "name": "", "key": "yellowing_440_per_m", "text": "0.3"},
    {"do": "set", "table": "uncertainty", "name": "", "key": "height_cm", "text": "3"},
    {"do": "add", "table": "rock", "values": KNOB},
)


def answered(light: DeskLight, desk: Desk) -> Analysis:
    assert desk.setup is not None
    return light.sure(desk.setup, *shown.scene_keys(desk, desk.setup), lambda: False)


def same(one: Analysis, other: Analysis) -> None:
    """Doses, peaks, verdicts, intervals and actions agree; draws of other places change rounding alone."""
    np.testing.assert_allclose(one.dose.dli, other.dose.dli, rtol=1e-12)
    assert one.uncertainty is not None
    assert other.uncertainty is not None
    np.testing.assert_allclose(one.uncertainty.dli, other.uncertainty.dli, rtol=1e-6)
    np.testing.assert_allclose(one.uncertainty.peak_ppfd, other.uncertainty.peak_ppfd, rtol=1e-3)
    assert [v.dli_verdict for v in one.verdicts] == [v.dli_verdict for v in other.verdicts]
    a, b = dose_body(one)["actions"], dose_body(other)["actions"]
    assert [x["text"] for x in a] == [x["text"] for x in b]


@pytest.mark.identity
def test_kept_light_and_draws_give_what_a_fresh_run_gives(tmp_path: Path) -> None:
    """After each change of coral, place, programme, lamp, water and rock the answer is that of `dose`."""
    desk, light = Desk(copied(tmp_path)), DeskLight()
    answered(light, desk)
    for change in CHANGES:
        desk.do(change)
        assert desk.setup is not None
        kept = answered(light, desk)
        same(kept, advised(desk.setup))
        quick = light.quick(desk.setup, shown.scene_keys(desk, desk.setup)[0])
        np.testing.assert_allclose(quick.dose.dli, kept.dose.dli, rtol=1e-12)


@pytest.mark.identity
def test_held_coral_gets_what_it_gets_when_it_is_let_go(tmp_path: Path) -> None:
    """The dose of a coral in the hand is that of the same coral put there."""
    desk, light = Desk(copied(tmp_path)), DeskLight()
    for name in ("Scheibe ganz oben", "grüne Geweihkoralle"):
        assert desk.setup is not None
        light.quick(desk.setup, shown.scene_keys(desk, desk.setup)[0])
        held = light.tried(moved(desk.setup, name, 0.31, 0.12, 0.2))
        desk.do({"do": "put", "kind": "coral", "name": name, "x_m": 0.31, "y_m": 0.12, "depth_m": 0.2})
        there = light.quick(desk.setup, shown.scene_keys(desk, desk.setup)[0])
        doses = [{v.coral: v.dli_mol_m2_d for v in a.verdicts} for a in (held, there)]
        assert doses[0] == pytest.approx(doses[1], rel=1e-12)


@pytest.mark.identity
def test_answer_that_is_not_wanted_any_more_is_given_up(tmp_path: Path) -> None:
    """Draws end once the setup has changed, and leave nothing behind that a later answer would take."""
    desk, light = Desk(copied(tmp_path)), DeskLight()
    assert desk.setup is not None
    calls = iter(range(10**6))
    with pytest.raises(SupersededError):
        light.sure(desk.setup, *shown.scene_keys(desk, desk.setup), lambda: next(calls) > 20)
    same(answered(light, desk), advised(read_setup(desk.path)))


@pytest.mark.identity
def test_free_places_and_planes_get_what_a_site_there_gets(tmp_path: Path) -> None:
    """The light at a click, and on a plane, is that of `dose` at the same place under open sky."""
    desk, light = Desk(copied(tmp_path)), DeskLight()
    setup = desk.setup
    assert setup is not None
    analysis = light.quick(setup, shown.scene_keys(desk, setup)[0])
    site = next(n for n, s in enumerate(setup.sites) if s.name == "Gipfel vorn")
    one = setup.sites[site]
    dose, peak = light.at(setup, np.array([[one.x_m, one.y_m, one.depth_m]]))
    assert float(dose[0]) == pytest.approx(float(analysis.dose.dli[site]), rel=1e-9)
    assert float(peak[0]) == pytest.approx(float(analysis.dose.peak_ppfd[site]), rel=1e-9)
    plane = light.level(setup, "depth", one.depth_m)
    assert len(plane["dli"]) == len(plane["columns_m"]) * len(plane["rows_m"])
    assert min(plane["dli"]) <= float(dose[0]) <= max(plane["dli"])
