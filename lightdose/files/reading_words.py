"""One reading as typed on the command line."""

from __future__ import annotations

import re
from typing import Literal

from lightdose.errors import Place, Problem, ReadingsError
from lightdose.files.readings_csv import PLAUSIBLE, check_sites, sole_meter
from lightdose.files.toml_tables import show, suggestion
from lightdose.files.units import UnitProblem, format_length, parse_length, parse_number, parse_time
from lightdose.model.readings import Meter, Reading, ReadsQuantity
from lightdose.model.setup import Setup

_AIR_ALLOWED = 'three lengths: "22 cm, 22 cm, 15 cm" from the left, from the front, above the water'


def reading_from_words(
    setup: Setup,
    words: str,
    *,
    site: str | None,
    air: str | None,
    time: str | None,
    unit: ReadsQuantity | None,
    meter: str | None,
) -> Reading:
    """A reading at a site of the setup, or above the water.

    Raises
    ------
    ReadingsError
        With what cannot be understood.
    """
    try:
        value = _number(words)
        time_h = None if time is None else parse_time(time)
    except UnitProblem as trouble:
        raise ReadingsError(trouble.problem) from None
    name, quantity = _meter(setup, meter, unit)
    _check_value(value, quantity)
    if site is not None:
        check_sites(setup, (site,), "--site")
        place = next(s for s in setup.sites if s.name == site)
        spot = (place.x_m, place.y_m, place.depth_m)
    else:
        spot = _air(air or "")
    return Reading(Place(""), value, quantity, site, *spot, time_h=time_h, meter=name)


def stated_immersion(
    words: str, meter: Meter, *, under_water: bool
) -> float | Literal["built in", "unknown"]:
    """The immersion that the command line states for a meter that says nothing itself.

    Raises
    ------
    ReadingsError
        If the meter states its own, the reading was in air, or the words mean nothing.
    """
    if not under_water:
        raise ReadingsError(Problem("--immersion is for readings under water, and this one was in the air"))
    if meter.immersion is not None:
        stated = f'"{meter.immersion}"' if isinstance(meter.immersion, str) else f"{meter.immersion:g}"
        raise ReadingsError(
            Problem(
                f"meter {meter.name!r} states its immersion already ({stated}): it would be applied twice",
                "one statement",
                "leave --immersion out, or mend [meter] in setup.toml",
            )
        )
    if words == "built in":
        return "built in"
    if words == "unknown":
        return "unknown"
    allowed = 'a factor 1 to 2, "built in", or "unknown"'
    try:
        factor = _number(words)
    except UnitProblem:
        raise ReadingsError(Problem(f"--immersion {show(words)} is not known here", allowed)) from None
    if not 1 <= factor <= 2:
        raise ReadingsError(Problem(f"--immersion {factor:g} is outside the range", allowed))
    return factor


def _number(words: str) -> float:
    """A number with a decimal point or comma; "1,250" may be either, so it is refused."""
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", words):
        plain = words.replace(",", "")
        found = f'"{words}" can be read as {words.replace(",", ".")} or as {plain}'
        raise UnitProblem(Problem(found, cure=f"write {plain}, or {words}0 if the comma is decimal"))
    return parse_number(words, "," if "," in words and "." not in words else ".")


def _meter(setup: Setup, named: str | None, unit: ReadsQuantity | None) -> tuple[str | None, ReadsQuantity]:
    """The meter and what it reads; without a name, the only one of the setup that reads this unit."""
    if named is None:
        quantity: ReadsQuantity = unit or "umol"
        return sole_meter(setup.meters, quantity), quantity
    meter = setup.meters.get(named)
    if meter is None:
        cure = suggestion(named, setup.meters) or f"describe it in setup.toml: [meter.{named}]"
        raise ReadingsError(Problem(f"there is no meter {show(named)}", ", ".join(setup.meters), cure))
    if unit is not None and unit != meter.reads:
        found = f"meter {show(named)} reads {meter.reads}, and --unit says {unit}"
        raise ReadingsError(Problem(found, cure="leave --unit out, or mend [meter] reads in setup.toml"))
    return named, meter.reads


def _check_value(value: float, unit: ReadsQuantity) -> None:
    shown = "umol m-2 s-1" if unit == "umol" else "lx"
    if not value > 0:
        raise ReadingsError(Problem(f"the reading {value:g} is not above 0", f"above 0 {shown}"))
    if value > PLAUSIBLE[unit]:
        lux = unit == "umol" and value <= PLAUSIBLE["lux"]
        raise ReadingsError(
            Problem(
                f"the reading {value:g} is above any plausible output",
                f"up to {PLAUSIBLE[unit]:g} {shown}",
                "this looks like lux: write --unit lux" if lux else "",
            )
        )


def _air(words: str) -> tuple[float, float, float]:
    parts = words.split(";") if ";" in words else words.split(",")
    problem = Problem(f"--air {show(words)} is no place", _AIR_ALLOWED)
    if len(parts) != 3:
        raise ReadingsError(problem)
    lengths = []
    for part in parts:
        try:
            lengths.append(_number(part.strip()) / 100)
        except UnitProblem:
            try:
                lengths.append(parse_length(part))
            except UnitProblem:
                raise ReadingsError(problem) from None
    x_m, y_m, height_m = lengths
    if not height_m > 0:
        found = f"--air: {format_length(height_m, 'cm')} is not above the water"
        raise ReadingsError(Problem(found, _AIR_ALLOWED, "name a --site for a reading under water"))
    return x_m, y_m, -height_m
