"""The questions of the commands as functions: a setup goes in, a record comes out that shows itself.

Where a setup is asked for, its path does as well. Lengths are metres, or text with a unit ("75 cm"); shares
are 0 to 1; days are ISO dates.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import numpy.typing as npt

from lightdose.errors import Problem, SetupError
from lightdose.files.setup_file import read_setup
from lightdose.model.setup import Setup
from lightdose.model.spectrum import SpectralDistribution
from lightdose.python.lengths import Length, metres
from lightdose.python.shown import Found, of_record

if TYPE_CHECKING:
    from lightdose.analysis import Analysis
    from lightdose.model.calibration import CalibrationFit
    from lightdose.model.changes import Sensitivity
    from lightdose.model.comparison import Comparison
    from lightdose.model.match import Match
    from lightdose.model.places import LightMap, Move, Placement
    from lightdose.model.plans import Acclimation, Survey, Tuning

Setups = Setup | str | Path


def _read(setup: Setups) -> Setup:
    return setup if isinstance(setup, Setup) else read_setup(setup)


def dose(setup: Setups) -> Found[Analysis]:
    """The photons each coral gets in a day, against what is usual for its group, and what would help.

    Parameters
    ----------
    setup : Setup or path
    """
    from lightdose.answers.dose import dose_answer
    from lightdose.workflows.advice import advised

    own = _read(setup)
    return of_record(advised(own, sides=True), lambda r: dose_answer(r, own.length_unit))


def dose_at(setup: Setups, points: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """The day's photons at any points of the tank under open sky and the shade of its solids.

    Parameters
    ----------
    setup : Setup or path
    points : array, shape (n, 3)
        x, y and depth below the surface. [m]

    Returns
    -------
    array, shape (n,)
        Daily light integral. [mol m-2 d-1]

    Raises
    ------
    ValueError
        If the points are not (n, 3), finite and in the tank.
    SetupError
        If a channel has no absolute flux.

    Examples
    --------
    >>> day = {"08:00": 0, "10:00": 60, "18:00": 60, "20:00": 0}
    >>> blue = lightdose.Channel("blue", lightdose.Led(450, 20), photon_flux_umol_s=60, beam_deg=90)
    >>> lamp = lightdose.FixtureType("lamp", [blue])
    >>> programme = lightdose.Programme({"blue": day})
    >>> hung = lightdose.Fixture("left", lamp, "20 cm", "20 cm", "20 cm", programme)
    >>> tank = lightdose.Setup("study", lightdose.Tank("75 cm", "45 cm", "40 cm"), [hung])
    >>> dose_at(tank, [[0.2, 0.2, 0.1], [0.5, 0.2, 0.1]]).round(1).tolist()
    [8.1, 1.3]
    """
    from lightdose.analysis import light_field_chunks
    from lightdose.physics.day_curve import day_curve
    from lightdose.physics.dose import daily_light_integral

    own = _read(setup)
    curve = day_curve(own.lit_fixtures)
    parts = [
        daily_light_integral(response[:, :, 0], curve) for _, response in light_field_chunks(own, points)
    ]
    return np.concatenate(parts) if parts else np.zeros(0)


def tune(setup: Setups, **wishes: Any) -> Found[Tuning]:
    """Overall setting and hours that serve the whole tank best, never fewer corals than today.

    Parameters
    ----------
    setup : Setup or path
    wishes : change, prefer, blue_only, off, caps, allow, colour_shift,
        plateau_h, ramp_up_h, ramp_down_h, least_blue, most_change, look_tolerance, with_moves, controller
    """
    from lightdose.answers.tune import tune_answer
    from lightdose.model.plans import TuneWishes
    from lightdose.workflows import tuning

    found = tuning.tune(_read(setup), TuneWishes(**wishes))
    return of_record(found, lambda r: tune_answer(r, {}), "corals")


def place(setup: Setups, **wishes: Any) -> Found[Placement]:
    """Which coral goes where.

    Parameters
    ----------
    setup : Setup or path
    wishes : corals, moves, everything, pins, not_at, not_beside,
        beside_m, apart_m, grid
    """
    from lightdose.answers.place import place_answer
    from lightdose.model.places import PlaceWishes
    from lightdose.workflows import placing

    own = _read(setup)
    return of_record(
        placing.place(own, PlaceWishes(**wishes)), lambda r: place_answer(r, own.length_unit, None)
    )


def move(setup: Setups, coral: str, to: str, **wishes: Any) -> Found[Move]:
    """The way of one coral to another site, in steps that it can follow.

    Parameters
    ----------
    setup : Setup or path
    coral, to : names of the coral and of the site
    wishes : rise_per_week, step_days, start
    """
    from lightdose.answers.place import move_answer
    from lightdose.model.places import MoveWishes
    from lightdose.workflows import placing

    own = _read(setup)
    return of_record(
        placing.move(own, MoveWishes(coral, to, **wishes)), lambda r: move_answer(r, own.length_unit), "steps"
    )


def match(
    setup: Setups, other: Setups, pairs: Mapping[str, str], *, keep: Literal["look", "spectrum"] = "look"
) -> Found[Match]:
    """The other tank set so that its places get what places of the first get.

    Parameters
    ----------
    setup, other : Setup or path
    pairs : place here -> the one there
    keep : what counts after the dose: the look of the lamps, or the nearest spectrum
    """
    from lightdose.answers.match import match_answer
    from lightdose.model.match import MatchWishes
    from lightdose.workflows import plans

    words = [f"{here}={there}" for here, there in pairs.items()]
    found = plans.match(_read(setup), _read(other), words, MatchWishes(keep))
    return of_record(found, lambda r: match_answer(r, {}), "channels")


def acclimate(before: Setups, after: Setups, **wishes: Any) -> Found[Acclimation]:
    """Dated steps from one setup's light to another's.

    Parameters
    ----------
    before, after : Setup or path
    wishes : rise_per_week, step_days, start, previous
    """
    from lightdose.answers.acclimate import acclimate_answer
    from lightdose.judge.acclimation import AcclimationRequest
    from lightdose.workflows import plans

    found = plans.acclimation(_read(before), _read(after), AcclimationRequest(**wishes))
    return of_record(found, lambda r: acclimate_answer(r, []), "steps")


def compare(a: Setups, b: Setups, *, names: tuple[str, str] | None = None) -> Found[Comparison]:
    """Two setups side by side for every site and coral of both: B over A.

    Parameters
    ----------
    a, b : Setup or path
    names : what they are called; their titles by default
    """
    from lightdose.answers.compare import compare_answer
    from lightdose.workflows import compare as compared

    return of_record(compared.compare(_read(a), _read(b), names=names), compare_answer)


def sensitivity(setup: Setups, cases: Sequence[str] = ()) -> Found[Sensitivity]:
    """What plausible changes do to the light of every site and coral.

    Parameters
    ----------
    setup : Setup or path
    cases : of your own, such as "height +5 cm and yellowing 0.3"
    """
    from lightdose.answers.sensitivity import sensitivity_answer
    from lightdose.workflows import plans

    own = _read(setup)
    return of_record(plans.sensitivity(own, plans.cases_tried(own, cases)), sensitivity_answer)


def calibrate(
    setup: Setups,
    readings: str | Path,
    *,
    date: str,
    open_sky: Sequence[str] = (),
    yellowing: bool = False,
    height: bool = False,
) -> Found[CalibrationFit]:
    """What each channel really gives, from meter readings.

    Parameters
    ----------
    setup : Setup or path; what an earlier calibration says of it is left out
    readings : the CSV
    date : of readings that do not say
    open_sky : sites whose open sky is fitted though the setup states 1
    yellowing, height : whether they are fitted

    Returns
    -------
    Found
        ``calibration`` is the result: ``dataclasses.replace(setup, calibration=found.calibration)`` is the
        measured setup.
    """
    from lightdose.answers.calibrate import calibrate_answer
    from lightdose.files.input_files import sha256_of
    from lightdose.fit.calibration_problem import CalibrationRequest
    from lightdose.judge.cautions import calibration_cautions
    from lightdose.workflows.measuring import basis_measured, calibrated

    own = replace(_read(setup), calibration=None)
    fit, _ = calibrated(own, str(readings), CalibrationRequest(date, frozenset(open_sky), yellowing, height))
    basis, cautions = basis_measured(own, fit), calibration_cautions(fit.calibration)
    inputs = {str(Path(readings).absolute()): sha256_of(str(readings))}
    return of_record(fit, lambda r: calibrate_answer(r, own, basis, cautions, inputs), "gains")


def light_map(
    setup: Setups,
    *,
    depths: Sequence[Length] = (),
    cell: Length | None = None,
    groups: Sequence[str] = (),
    samples: int = 1,
) -> Found[LightMap]:
    """The light on level slices through the tank.

    Parameters
    ----------
    setup : Setup or path
    depths : of the slices; those of the corals by default. [m]
    cell : side of a cell; some tens of them along the longest side by default. [m]
    groups : whose region is told, by key, genus or trade name; those kept here by default
    samples : points along each side of a cell
    """
    from lightdose.answers.map import map_answer
    from lightdose.files.coral_names import group_named
    from lightdose.judge.map_choice import default_cell_m, default_depths, default_groups
    from lightdose.model.places import Plane
    from lightdose.workflows import plans

    own = _read(setup)
    planes = tuple(Plane("depth", metres(d)) for d in depths) or default_depths(own)[0]
    named = tuple(group_named(key, own.groups).group for key in groups) or default_groups(own)[0]
    cell_m = metres(cell) if cell is not None else default_cell_m(own)
    asked = cell is not None or samples > 1
    found = plans.light_map(own, planes, named, cell_m=cell_m, samples=samples, asked=asked)
    return of_record(found, lambda r: map_answer(r, "dli", own.length_unit))


def survey(setup: Setups, *, readings: int | None = None, meter: str | None = None) -> Found[Survey]:
    """The few readings that would tell most.

    Parameters
    ----------
    setup : Setup or path
    readings : how many; 6 to 10 by default
    meter : by name, or the setup's only one
    """
    from lightdose.answers.survey import survey_answer
    from lightdose.judge.uncertain_inputs import basis_of
    from lightdose.workflows.measuring import planned_survey

    own = _read(setup)
    stated = replace(own, calibration=None)
    found, analysis = planned_survey(own, stated, meter=meter, count=readings)
    return of_record(
        found, lambda r: survey_answer(r, own.length_unit, analysis, basis_of(stated), ()), "readings"
    )


def history(setup: Setups, corals: Sequence[str] = (), since: str | None = None) -> Found[Any]:
    """What the diary beside a setup says of its corals' light and of the corals.

    Parameters
    ----------
    setup : Setup or path
    corals : names; all by default
    since : the first day
    """
    from lightdose.answers.history import history_answer
    from lightdose.workflows import diary

    own = _read(setup)
    if not own.path:
        cure = "save it, and read it again: a diary lies beside a setup's files"
        raise SetupError(Problem("a setup made in code has no diary", cure=cure))
    found = diary.history(own, corals, since)
    return of_record(found, lambda r: history_answer(r, one=bool(corals), own=None, rows=True))


def spectrum_metrics(*spectra: str | Path | SpectralDistribution) -> Found[Any]:
    """Photon figures of spectra side by side.

    Parameters
    ----------
    spectra : files, entries of the library such as "royal-blue-447", or records
    """
    from lightdose.answers.library import spectrum_answer
    from lightdose.files.input_files import sha256_of
    from lightdose.files.library import named_spectrum, node_tables
    from lightdose.physics import spectrum_metrics as physics

    read = [
        (one.name, one.name, one) if isinstance(one, SpectralDistribution) else named_spectrum(str(one))
        for one in spectra
    ]
    figures = [physics.spectrum_metrics(file, spectrum, node_tables()) for _, file, spectrum in read]
    inputs = {file: sha256_of(file) for _, file, _ in read if Path(file).is_file()}
    names = [name for name, _, _ in read]
    return of_record(figures, lambda r: spectrum_answer(r, names, inputs, all_weightings=False), "spectra")
