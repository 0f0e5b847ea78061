"""Every figure that any command or page draws, of few corals and of many, with names of all scripts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import pytest
from browser.scenes import crowded_setup
from click.testing import CliRunner
from present.text_boxes import misplaced_words

from lightdose.cli import cli
from lightdose.present.figures import canvas
from lightdose.present.figures.canvas import Drawing, FigureFormat
from lightdose.present.figures.inline_svg import InlineFigure, inline_figure

NAMES = (
    "Großmutters alte Lederkoralle aus dem allerersten Becken {}",
    "ミドリイシの新しいフラグ {}",
    "مرجان الكهف {}",
    "plug {}",
)

COMMANDS: Mapping[str, Sequence[str]] = {
    "dose": ("dose", "{setup}", "--figures", "{folder}"),
    "map": ("map", "{setup}", "-o", "{folder}", "--group", "sps-shallow", "--group", "mushroom"),
    "compare": ("compare", "{setup}", "--fixture-height", "28 cm", "--figures", "{folder}"),
    "sensitivity": ("sensitivity", "{setup}", "--figures", "{folder}"),
    "tune": ("tune", "{setup}", "--figures", "{folder}"),
    "place": ("place", "{setup}", "--moves", "2", "--figures", "{folder}"),
    "acclimate": ("acclimate", "{setup}", "{setup}", "--fixture-height", "9 cm", "--figures", "{folder}"),
    "match": ("match", "{setup}", "{setup}", "--pair", "place 0=place 1", "--figures", "{folder}"),
    "report": ("report", "{setup}", "-o", "{folder}/page.html"),
    "report of two": ("report", "{setup}", "{setup}", "--fixture-height", "28 cm", "-o", "{folder}/two.html"),
}

BY_DEFAULT = ((3, "dose"), (60, "report"))
"""All others take minutes and run with ``-m slow``."""

CASES = [
    pytest.param(corals, command, marks=[] if (corals, command) in BY_DEFAULT else pytest.mark.slow)
    for corals in (3, 9, 45, 60)
    for command in COMMANDS
]


@pytest.mark.identity
@pytest.mark.parametrize(("corals", "command"), CASES)
def test_words_of_every_figure_stay_inside_and_apart(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, corals: int, command: str
) -> None:
    """No text box leaves its canvas or meets another, in files and as pages show them."""
    found: dict[str, list[str]] = {}
    render = canvas.render

    def rendered(drawing: Drawing, form: FigureFormat) -> bytes:
        found[drawing.name] = misplaced_words(drawing)
        return render(drawing, form)

    def inlined(drawing: Drawing, prefix: str) -> InlineFigure:
        found[f"{prefix} {drawing.name}"] = misplaced_words(drawing)
        return inline_figure(drawing, prefix)

    monkeypatch.setattr("lightdose.present.figures.canvas.render", rendered)
    monkeypatch.setattr("lightdose.present.page.inline_figure", inlined)
    setup = crowded_setup(tmp_path, corals, NAMES)
    words = [word.format(setup=setup, folder=tmp_path / "made") for word in COMMANDS[command]]
    (tmp_path / "made").mkdir()
    done = CliRunner().invoke(cli, words)
    assert done.exit_code in (0, 1), done.output
    assert found
    assert {name: words for name, words in found.items() if words} == {}
