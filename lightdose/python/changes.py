"""A setup with something changed, for variations in code."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, replace
from typing import Any

from lightdose.errors import Problem, SetupError
from lightdose.files.overall import at_overall
from lightdose.model.fixture import Channel, CosineLobe, Fixture
from lightdose.model.setup import Setup
from lightdose.model.setup_rules import broken_rules
from lightdose.near_names import did_you_mean
from lightdose.python.building import has_parts, rebuilt
from lightdose.python.lengths import metres

OWN = ("height", "beam_deg", "all_channels", "without")


def changed(setup: Setup, what: Mapping[str, Any]) -> Setup:
    """The setup with ``what`` changed; see ``Setup.changed``."""
    known = {*OWN, *(f.name for f in fields(setup))}
    unknown = [name for name in what if name not in known]
    if unknown:
        raise TypeError(f"a setup has no {unknown[0]!r}: {did_you_mean(unknown[0], sorted(known))}")
    fixtures = setup.fixtures
    if "height" in what:
        height_m = metres(what["height"], "height")
        fixtures = tuple(replace(f, height_m=height_m) for f in fixtures)
    if "beam_deg" in what:
        fixtures = tuple(_with_beam(f, float(what["beam_deg"])) for f in fixtures)
    if "all_channels" in what:
        fixtures = tuple(
            replace(f, programme=at_overall(f.programme, float(what["all_channels"]), f.name))
            for f in fixtures
        )
    own = {name: value for name, value in what.items() if name not in OWN}
    made = replace(setup, fixtures=fixtures)
    if any(map(has_parts, own.values())):
        made = rebuilt(made, own)
    elif own:
        made = replace(made, **own)
    if problems := broken_rules(made, may_be_dry=False):
        raise SetupError(*problems)
    return _without(made, what["without"]) if "without" in what else made


def _with_beam(fixture: Fixture, beam_deg: float) -> Fixture:
    def widened(channel: Channel) -> Channel:
        return replace(channel, beam=CosineLobe(beam_deg))

    return replace(fixture, type=replace(fixture.type, channels=tuple(map(widened, fixture.type.channels))))


def _without(setup: Setup, name: str) -> Setup:
    """The setup without a coral or a fixture."""
    corals = [c.name for c in (*setup.corals, *setup.unplaced)]
    lamps = [f.name for f in setup.fixtures]
    if name in corals:
        return replace(
            setup,
            corals=tuple(c for c in setup.corals if c.name != name),
            unplaced=tuple(c for c in setup.unplaced if c.name != name),
        )
    if name not in lamps:
        known = [*corals, *lamps]
        raise SetupError(
            Problem(f"no coral and no fixture is named {name!r}", cure=did_you_mean(name, known))
        )
    return replace(setup, fixtures=tuple(f for f in setup.fixtures if f.name != name))
