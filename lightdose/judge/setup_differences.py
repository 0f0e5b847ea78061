"""What differs between two setups, in words, and whether their light field is the same."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import numpy as np

from lightdose.model.coral import Coral, Site
from lightdose.model.fixture import Fixture
from lightdose.model.setup import LengthUnit, Setup
from lightdose.quantities import METRES_PER_INCH

_NAMED_AT_MOST = 6
_Placed = TypeVar("_Placed", Site, Coral)


def same_light_field(a: Setup, b: Setup) -> bool:
    """Whether two setups differ in nothing but programmes, corals' names and what is judged.

    Then light at every receiver at full output is the same, and so is how well it is known.

    Parameters
    ----------
    a, b : Setup

    Returns
    -------
    bool

    Source
    ------
    The light field depends on fixtures, tank, water, cover, calibration and receivers alone.
    """
    return (
        a.receivers == b.receivers
        and _same(_hung(a), _hung(b))
        and all(_same(getattr(a, k), getattr(b, k)) for k in ("tank", "water", "cover", "calibration"))
        and dict(a.uncertainty) == dict(b.uncertainty)
    )


def setup_differences(a: Setup, b: Setup) -> tuple[str, ...]:
    """What differs from A to B, a phrase each; sites and corals that only one has are told elsewhere.

    Parameters
    ----------
    a, b : Setup

    Returns
    -------
    tuple of str
        "left hangs 25 cm above the water instead of 20 cm", "left runs another programme".

    Source
    ------
    Our wording.
    """
    unit = a.length_unit
    here, there = ({f.name: f for f in s.lit_fixtures} for s in (a, b))
    found = [*_only("fixture", here, there)]
    changes = [(name, _fixture_changes(here[name], there[name], unit)) for name in here if name in there]
    said = dict.fromkeys(phrase for _, phrases in changes for phrase in phrases)
    found += [f"{_names([n for n, phrases in changes if phrase in phrases])}: {phrase}" for phrase in said]
    found += [f"another {what}" for what in ("tank", "water", "cover") if _differs(a, b, what)]
    if _differs(a, b, "calibration"):
        found.append("another calibration" if a.calibration and b.calibration else "calibrated in one only")
    found += _moved("site", {s.name: s for s in a.sites}, {s.name: s for s in b.sites}, _site_differs)
    found += _moved("coral", {c.name: c for c in a.corals}, {c.name: c for c in b.corals}, _coral_differs)
    return tuple(found)


def _hung(setup: Setup) -> list[dict[str, Any]]:
    """Every lit fixture without its programme."""
    return [
        {f.name: getattr(fixture, f.name) for f in dataclasses.fields(fixture) if f.name != "programme"}
        for fixture in setup.lit_fixtures
    ]


def _differs(a: Setup, b: Setup, what: str) -> bool:
    return not _same(getattr(a, what), getattr(b, what))


def _fixture_changes(a: Fixture, b: Fixture, unit: LengthUnit) -> list[str]:
    phrases = []
    if not _same(a.type, b.type):
        phrases.append(
            f"{b.type.name!r} instead of {a.type.name!r}" if a.type.name != b.type.name else "altered file"
        )
    if a.height_m != b.height_m:
        phrases.append(f"{_length(b.height_m, unit)} above the water instead of {_length(a.height_m, unit)}")
    if (a.x_m, a.y_m, a.rotation_deg) != (b.x_m, b.y_m, b.rotation_deg):
        phrases.append("hung elsewhere")
    if a.output_scale != b.output_scale:
        phrases.append(f"output scale {b.output_scale:g} instead of {a.output_scale:g}")
    if not _same(a.programme, b.programme):
        phrases.append("another programme")
    return phrases


def _length(metres: float, unit: LengthUnit) -> str:
    return f"{metres * 100:.4g} cm" if unit == "cm" else f"{metres / METRES_PER_INCH:.4g} in"


def _only(what: str, here: Mapping[str, object], there: Mapping[str, object]) -> list[str]:
    found = []
    for label, own, other in (("A", here, there), ("B", there, here)):
        if names := [n for n in own if n not in other]:
            found.append(f"{what}{'s' if len(names) > 1 else ''} in {label} only: {_names(names)}")
    return found


def _moved(
    what: str,
    here: Mapping[str, _Placed],
    there: Mapping[str, _Placed],
    differs: Callable[[_Placed, _Placed], bool],
) -> list[str]:
    names = [n for n in here if n in there and differs(here[n], there[n])]
    return [f"{what}{'s' if len(names) > 1 else ''} placed otherwise: {_names(names)}"] if names else []


def _site_differs(a: Site, b: Site) -> bool:
    return (a.x_m, a.y_m, a.depth_m, a.open_sky) != (b.x_m, b.y_m, b.depth_m, b.open_sky)


def _coral_differs(a: Coral, b: Coral) -> bool:
    return (a.site, a.height_m, a.open_sky) != (b.site, b.height_m, b.open_sky)


def _names(names: list[str]) -> str:
    more = f" and {len(names) - _NAMED_AT_MOST} more" if len(names) > _NAMED_AT_MOST else ""
    return ", ".join(names[:_NAMED_AT_MOST]) + more


def _same(one: object, other: object) -> bool:
    """Whether two records hold the same values, arrays and nested records included, wherever they stood."""
    if one is other:
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other)  # type: ignore[arg-type]
    if isinstance(one, Mapping):
        assert isinstance(other, Mapping)
        return list(one) == list(other) and all(_same(one[k], other[k]) for k in one)
    if isinstance(one, list | tuple):
        assert isinstance(other, list | tuple)
        return len(one) == len(other) and all(map(_same, one, other))
    if dataclasses.is_dataclass(one):
        names = [f.name for f in dataclasses.fields(one) if f.name not in ("place", "notes", "file")]
        return all(_same(getattr(one, n), getattr(other, n)) for n in names)
    return one == other
