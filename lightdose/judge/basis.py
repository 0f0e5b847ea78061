"""On what the numbers stand: the first line of every answer."""

from __future__ import annotations

from lightdose.model.fixture import CosineLobe
from lightdose.model.results import Basis
from lightdose.model.setup import Setup


def basis_of(setup: Setup) -> Basis:
    """Whether a setup's light stands on data sheets or on typical values, in one sentence.

    The weakest channel of the enabled fixtures decides.

    Source
    ------
    The factor of 2 on typical efficiencies and 0.6 to 1.05 on data sheets are our choice, from memory of
    data sheets that state an ideal driver, a cool LED and no lens; no published source.
    """
    channels = [(f, c) for f in setup.lit_fixtures for c in f.type.channels]
    typical = sorted({f.name for f, c in channels if c.flux is not None and c.flux.typical})
    assumed = sorted({f.name for f, c in channels if isinstance(c.beam, CosineLobe) and c.beam.assumed})
    beam = f"; beam of {_names(assumed)} assumed 120 deg wide" if assumed else ""
    if typical:
        return Basis(
            "typical values",
            f"Unmeasured: typical values for {_names(typical)}, good to a factor of 2{beam}.",
        )
    return Basis(
        "data sheet",
        f"Unmeasured: stands on data-sheet values; count on 0.6 to 1.05 of them (our choice){beam}.",
    )


def _names(names: list[str]) -> str:
    return ", ".join(repr(n) for n in names)
