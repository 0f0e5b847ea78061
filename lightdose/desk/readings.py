"""What readings say, and which would tell most: `calibrate` and `survey` in the words of the page."""

from __future__ import annotations

import datetime
import os
from typing import Any, Final

from lightdose.answers.blocks import Block, Points, Say, Section
from lightdose.answers.calibrate import calibrate_answer
from lightdose.desk.reading_edits import READINGS
from lightdose.desk.session import Desk
from lightdose.errors import LightdoseError, Problem, ReadingsError, SetupError
from lightdose.files.calibration_file import calibration_toml, earlier_calibrations
from lightdose.files.library import calibration_sources, reference_tables
from lightdose.files.readings_csv import read_readings
from lightdose.judge.cautions import calibration_cautions
from lightdose.judge.uncertain_inputs import basis_of, measured_sentence
from lightdose.present.page import set_text

MOST_PLANNED: Final = 10


def calibrated(desk: Desk) -> tuple[list[dict[str, str]], str]:
    """What the readings say, point by point, and the calibration as a file.

    Raises
    ------
    LightdoseError
        With what is wrong with the readings.
    """
    from dataclasses import replace

    from lightdose.fit.calibration import calibrate
    from lightdose.fit.calibration_problem import CalibrationRequest
    from lightdose.fit.observations import unusable_readings

    with desk.lock:
        texts = desk.written()
        path = os.path.join(desk.path.parent, READINGS)
        if path not in texts and not os.path.isfile(path):
            raise ReadingsError(Problem("there are no readings yet", cure="type the first above"))
        setup = desk.drafts.read_uncalibrated(texts)
        today = datetime.date.today().isoformat()
        try:
            rows, _ = read_readings(desk.drafts.file(path), READINGS, setup, unusable_readings)
            earlier = earlier_calibrations(desk.setup or setup, None)
            asked = CalibrationRequest(today, frozenset(), False, False, earlier)
            sources = calibration_sources(setup.meters.values())
            fit = calibrate(setup, rows, reference_tables(), sources, asked)
        except LightdoseError as trouble:
            raise SetupError(*desk.drafts.problems_at_home(trouble)) from None
    measured = fit.calibration
    basis = replace(basis_of(replace(setup, calibration=measured)), sentence=measured_sentence(measured))
    answer = calibrate_answer(fit, setup, basis, calibration_cautions(measured), {})
    return list(_points(answer.blocks)), calibration_toml(measured)


def _points(blocks: tuple[Block, ...]) -> list[dict[str, str]]:
    """Sentences and lists of an answer, without its tables."""
    found: list[dict[str, str]] = []
    for block in blocks:
        if isinstance(block, Say):
            found.append({"about": "", "text": set_text(block.text)})
        elif isinstance(block, Points):
            found += [{"about": p.about, "text": set_text(p.text)} for p in block.points]
        elif isinstance(block, Section) and block.brief:
            found += _points(block.blocks)
    return found


def survey_of(desk: Desk) -> dict[str, Any]:
    """The readings that would tell most, and what the light stands on now."""
    from lightdose.answers.survey import (
        little_time,
        meter_sentence,
        open_sentence,
        survey_answer,
        worth_sentence,
    )
    from lightdose.workflows.measuring import planned_survey

    with desk.lock:
        setup = desk.setup
        if setup is None or desk.reading.problems:
            raise SetupError(Problem("the setup has problems: mend them first"))
        bare = desk.drafts.read_uncalibrated(desk.written())
    survey, analysis = planned_survey(setup, bare)
    answer = survey_answer(survey, setup.length_unit, analysis, basis_of(bare), ())
    said = (worth_sentence(survey), open_sentence(survey), meter_sentence(survey), little_time(survey))
    told = [{"about": "", "text": set_text(text)} for text in said if text]
    return {"told": told, "rows": _rows(answer)[:MOST_PLANNED]}


def _rows(answer: Any) -> list[dict[str, str]]:
    """The first table of an answer as rows of texts by their heads."""
    from lightdose.answers.blocks import Table

    waiting = list(answer.blocks)
    while waiting:
        block = waiting.pop(0)
        if isinstance(block, Table) and block.n_rows:
            texts = [c for c in block.columns if all(isinstance(cell, str) for cell in c.cells)]
            return [
                {c.head.replace("\n", " "): set_text(str(c.cells[n])) for c in texts}
                for n in range(block.n_rows)
            ]
        if isinstance(block, Section):
            waiting = [*block.blocks, *waiting]
    return []
