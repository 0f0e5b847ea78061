"""How to behave around strong light over salt water, and what the hazard figures of a setup leave open."""

from __future__ import annotations

from lightdose.judge.basis import basis_of
from lightdose.judge.hazard import all_together, find_hazards
from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import CosineLobe
from lightdose.model.hazard import Hazard, HazardTables
from lightdose.model.results import Caution, DayCurve
from lightdose.model.setup import Setup
from lightdose.physics.beam import cosine_exponent

_PRACTICE = "common practice, no published source"
_LENS_FWHM_DEG = 60.0

BEHAVIOUR = (
    Caution(
        "look_away",
        "Do not look into the emitters, lit or about to be lit, nor through a lens or a magnifier. Blue and "
        "violet look dim while they are strong, and no reflex protects the eye.",
        f"V(lambda) is 0.038 at 450 nm against 1 at 555 nm, CIE 018:2019; behaviour: {_PRACTICE}",
    ),
    Caution("dim_first", "Dim the light or switch it off before you work under it.", _PRACTICE),
    Caution(
        "extra_care",
        "Take extra care with children, with people on medicine that makes them sensitive to light, and with "
        "eyes without a natural lens: the limits do not hold for them.",
        f"limits are for healthy adults (IEC 62471:2006, ICNIRP 2013, from memory); behaviour: {_PRACTICE}",
    ),
    Caution("unplug", "Unplug before touching gear over the water, and touch it with dry hands.", _PRACTICE),
    Caution("two_people", "Lift heavy gear with two people, never over the open tank alone.", _PRACTICE),
    Caution(
        "over_water",
        "Feed everything through residual-current protection, give every cable a drip loop, and secure "
        "hanging gear twice.",
        _PRACTICE,
    ),
    Caution(
        "codes",
        "Local codes and the maker's instructions come first; wiring is for a licensed electrician.",
        _PRACTICE,
    ),
    Caution(
        "no_assessment",
        "The figures are estimates to guide behaviour, no assessment to IEC 62471 or any other standard.",
        "limits of this model",
    ),
)
"""What to do, before any figure."""


def describe_hazard(
    setup: Setup, emission: FloatArray, tables: HazardTables, curve: DayCurve, version: str
) -> Hazard:
    """Everything `hazard` reports.

    Parameters
    ----------
    setup, emission, tables, curve : as for ``find_hazards``
    version : str
        Of the program.

    Returns
    -------
    Hazard

    Source
    ------
    See ``judge.hazard``.
    """
    stares = find_hazards(setup, emission, tables, curve)
    return Hazard(
        setup, basis_of(setup), BEHAVIOUR, stares, all_together(stares), tuple(_remarks(setup)), version
    )


def _remarks(setup: Setup) -> list[str]:
    """What the figures assume or leave out, the gravest first."""
    lit = setup.lit_fixtures
    found = []
    if unknown := [f.name for f in lit if f.type.emitters is None]:
        found.append(
            f"The radiance of a single emitter of {', '.join(unknown)} is not known: its fixture file needs "
            'emitters = { count = ..., diameter = "..." }. A panel\'s mean would understate it.'
        )
    if len(unknown) < len(lit):
        found.append(
            "L_B is the mean of all emitters of a fixture; where only a few of them are blue, each of those "
            "is stronger by as much."
        )
    if assumed := [
        f.name for f in lit if any(isinstance(c.beam, CosineLobe) and c.beam.assumed for c in f.type.channels)
    ]:
        wide, narrow = (cosine_exponent(c) + 1 for c in (120.0, _LENS_FWHM_DEG))
        found.append(
            f"The beam of {', '.join(assumed)} is assumed 120 deg wide; lenses of {_LENS_FWHM_DEG:g} deg "
            f"would make these figures {narrow / wide:.1f} times as high."
        )
    found += [
        f"{f.name} stands at output_scale {f.output_scale:g}: wiped clean or new it may give "
        f"{1 / f.output_scale:.2g} times these figures."
        for f in lit
        if f.output_scale < 1
    ]
    if lit:
        found.append(
            "Through air from the emitting area, without cover or water. A whole panel is taken for one "
            "small source, which is on the safe side. Light below 300 nm is outside this model."
        )
    if dark := [f.name for f in setup.fixtures if not f.enabled]:
        found.append(f"Not enabled and not counted: {', '.join(dark)}.")
    return found
