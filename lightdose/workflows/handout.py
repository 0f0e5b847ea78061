"""What goes over the counter: the hand-out of a tank, and the slip of a coral that leaves it."""

from __future__ import annotations

from lightdose.analysis import site_days
from lightdose.errors import Place, Problem, SetupError
from lightdose.judge.advice import rounded_down
from lightdose.judge.diminishing import EVIDENCE
from lightdose.model.results import Analysis
from lightdose.model.shop import HandedLight, Handout, Slip
from lightdose.near_names import did_you_mean
from lightdose.workflows.compare import looks_and_gets
from lightdose.workflows.explain import diminishing_return

MOST_PREVIOUS = 100.0
"""A setup takes no higher `previous` than this. [mol m-2 d-1]"""


def handout(analysis: Analysis, other: Analysis | None = None, date: str | None = None) -> Handout:
    """The customer's page of one setup, or of two beside one another.

    Quickest where the analyses were made with ``also=TRISTIMULUS_WEIGHTINGS``.
    """
    lights = [_handed(a) for a in (analysis, other) if a is not None]
    return Handout(tuple(lights), EVIDENCE, date)


def slip(analysis: Analysis, coral: str, date: str) -> Slip:
    """The slip of one coral.

    Raises
    ------
    SetupError
        If the setup has no coral of that name.
    """
    setup = analysis.setup
    verdict = next((v for v in analysis.verdicts if v.coral == coral), None)
    if verdict is None:
        names = [v.coral for v in analysis.verdicts]
        allowed = ", ".join(map(repr, names[:20])) or "none is named"
        more = f" and {len(names) - 20} more" if len(names) > 20 else ""
        cure = did_you_mean(coral, names)
        raise SetupError(
            Problem(f"there is no coral {coral!r}", f"{allowed}{more}", cure, place=Place(setup.path))
        )
    start = rounded_down(verdict.dli_mol_m2_d) if verdict.dli_mol_m2_d > 0 else 0.0
    return Slip(analysis, verdict, start if 0 < start <= MOST_PREVIOUS else None, date)


def _handed(analysis: Analysis) -> HandedLight:
    places = _shown_places(analysis)
    looks = looks_and_gets(analysis)[places[0]] if places else None
    return HandedLight(analysis, places, site_days(analysis, places), looks, diminishing_return(analysis))


def _shown_places(analysis: Analysis) -> tuple[int, ...]:
    """The brightest and the dimmest place that corals stand at, of all sites where there are none."""
    pool = [v.receiver for v in analysis.verdicts] or list(range(len(analysis.setup.sites)))
    pool.sort(key=lambda i: -float(analysis.dose.dli[i]))
    return tuple(dict.fromkeys((pool[0], pool[-1]))) if pool else ()
