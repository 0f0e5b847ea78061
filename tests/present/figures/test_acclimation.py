"""The figure and the words of `acclimate`, from records made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from answers.printed import as_one, on_terminal, piped
from judge.made_tank import made_tank
from present.text_boxes import misplaced_words

from lightdose.answers.acclimate import acclimate_answer, doses_sentence, headline
from lightdose.judge.acclimation import AcclimationRequest, mismatch_curve, step_scales
from lightdose.model.plans import (
    AcclimatingCoral,
    Acclimation,
    AcclimationStep,
    AfterReading,
    CarefulStart,
    CoralStep,
)
from lightdose.model.results import Basis, Caution, Span
from lightdose.present.figures.canvas import render
from lightdose.present.figures.placement import CORALS_DRAWN, acclimation_drawing

LONG = "$x_1$ ünï 😀 [/] " + "nam e" * 38


def made_way(names: tuple[str, ...], first_scale: float, start: str | None = None) -> Acclimation:
    """A way of invented corals; the first is the one that rises most."""
    scales = step_scales(first_scale, AcclimationRequest())
    targets = [8.0 / (1 + 0.3 * i) for i in range(len(names))]
    corals = tuple(
        AcclimatingCoral(n, "soft", "A1", "today", t * first_scale / 1.1 * (1 + 0.1 * i), t, t, 1.0, i == 1)
        for i, (n, t) in enumerate(zip(names, targets, strict=True))
    )
    steps = tuple(
        AcclimationStep(
            7 * k,
            None if start is None else start,
            s,
            {"A1": s * 8.0},
            tuple(CoralStep(c.name, s * c.target, 0.1, Span(1.1, 1.0, 1.2)) for c in corals),
            Span(1.1, 1.0, 1.2),
            names[0],
            {},
        )
        for k, s in enumerate(scales)
    )
    days = np.array([s.day for s in steps], dtype=np.float64)
    curve = mismatch_curve(names[0], corals[0].before, days, np.array(scales) * corals[0].target)
    basis = Basis("typical values", "Unmeasured: typical values.")
    cautions = (Caution("rise", "At most 10 % a week.", "common practice, no published rule per week"),)
    weeks = float(days[-1]) / 7
    tank = made_tank()
    return Acclimation(
        tank, tank, basis.sentence, basis, 0.1, 7, corals, ("gone",), (), steps, curve, cautions, weeks
    )


WAYS = {
    "three corals": made_way(("staghorn", "torch", "mushroom"), 0.4),
    "one step": made_way(("staghorn",), 1.05),
    "forty corals": made_way(tuple(f"coral {i}" for i in range(40)), 0.5),
    "a long way": made_way(("staghorn", "torch"), 0.002),
    "not measured": replace(
        made_way(("staghorn", "torch"), 0.4),
        start=CarefulStart(
            "staghorn",
            "ridge",
            2.5,
            0.4,
            85.0,
            True,
            (AfterReading(0.6, 1.0, 0.0), AfterReading(1.0, 0.9, 2.0), AfterReading(2.4, 0.4, 10.0)),
        ),
    ),
    "long names": made_way((LONG, "W" * 200), 0.7, "2026-03-01"),
}


@pytest.mark.identity
@pytest.mark.parametrize("case", WAYS)
def test_words_of_the_figure_lie_inside_and_apart(case: str) -> None:
    """No label is clipped, and no two labels meet."""
    assert misplaced_words(acclimation_drawing(WAYS[case])) == []


@pytest.mark.identity
def test_figure_draws_the_record() -> None:
    """Doses are stairs through the steps, starting from what the coral lived in; the line below is tau 20."""
    way = WAYS["three corals"]
    doses, mismatch = acclimation_drawing(way).figure.axes
    stairs = next(line for line in doses.lines if line.get_linewidth() == 2.0)
    heights = [way.corals[0].before, *(s.corals[0].dli_mol_m2_d for s in way.steps)]
    assert list(dict.fromkeys(np.asarray(stairs.get_ydata()).tolist())) == pytest.approx(heights)
    drawn = next(line for line in mismatch.lines if len(np.asarray(line.get_xdata())) == way.curve.day.size)
    assert np.array_equal(np.asarray(drawn.get_ydata()), way.curve.d_over_a[1])
    assert mismatch.get_xlabel() == "days from the first step"
    assert "mol m⁻² d⁻¹" in doses.get_ylabel()


@pytest.mark.identity
def test_long_list_says_what_is_left_out() -> None:
    """Corals beyond the figure's room are counted in its lead."""
    words = " ".join(t.get_text() for t in acclimation_drawing(WAYS["forty corals"]).figure.texts)
    assert f"{40 - CORALS_DRAWN} more corals" in words


@pytest.mark.identity
def test_figure_file_is_the_same_twice() -> None:
    """Two runs write the same bytes."""
    first, second = (render(acclimation_drawing(WAYS["three corals"]), "svg") for _ in range(2))
    assert first == second
    assert b"<desc>" in first


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 120])
@pytest.mark.parametrize("case", WAYS)
def test_terminal_and_pipe_say_the_same_verdict(case: str, width: int) -> None:
    """The basis stands first, with what doses lack, and the verdict last, in both; names are literal."""
    way = WAYS[case]
    answer = acclimate_answer(way)
    lines, shown = piped(answer), on_terminal(answer, width)
    assert lines[:2] == [
        f"{way.basis.sentence} {doses_sentence(way)}",
        headline(way),
    ]
    assert as_one(shown).startswith(as_one(lines[:1]))
    assert as_one(shown).endswith(lines[-1])
    assert "\x1b" not in "".join(shown)
    for step in way.steps:
        assert any(line.split()[:1] == [str(step.day)] for line in lines)


@pytest.mark.identity
def test_json_holds_every_step_and_coral() -> None:
    """Doses to the digit, low before default before high, and files only where some were written."""
    way = WAYS["three corals"]
    body = acclimate_answer(way).body()
    assert body["start"] is None
    start = acclimate_answer(WAYS["not measured"]).body()["start"]
    assert (start["site"], start["scale"], start["rise_at_most"]) == ("ridge", 0.4, 2.5)
    assert start["after_measuring"][-1] == {"times": 2.4, "scale": 0.4, "weeks": 10.0}
    assert [s["scale"] for s in body["steps"]] == [s.scale for s in way.steps]
    assert body["steps"][0]["d_over_a"] == [1.0, 1.1, 1.2]
    assert body["steps"][0]["file"] is None
    assert [c["target_mol_m2_d"] for c in body["corals"]] == [c.target for c in way.corals]
    assert body["mismatch"]["d_over_a"] == [row.tolist() for row in way.curve.d_over_a]


@pytest.mark.pinned
def test_start_on_an_unmeasured_light_says_start_measure_go_on() -> None:
    """The first words and the last: where to start, to measure, and what follows from the reading."""
    lines = piped(acclimate_answer(WAYS["not measured"]))
    assert lines[1].startswith(
        "Start at 40 % of the new programme, measure, then go on: all at once 'staghorn'"
    )
    assert lines[1].endswith("If the reading is as calculated, run 90 % of it, the rest in steps.")
    assert lines[-1].startswith("Start at 40 %, measure, then go on by the reading; without one, 11 steps")
    assert any("as calculated it gives 85.0 umol/m2/s" in line for line in lines)
    assert any("measured today's light either" in line for line in lines)
