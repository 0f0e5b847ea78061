"""Phrases that people stumbled over stay out of everything that is printed."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

import lightdose
from lightdose.answers.words import PPFD_UNIT
from lightdose.model.spectrum import READING_UNITS

HOUSE = Path(lightdose.__file__).parent
RETIRED = {
    r"stands? on data|count on 0\.6": "not measured; based on data sheets; the true light is probably ...",
    r"\bunmeasured:": "not measured",
    r"cannot (tell|be told) yet": "undecided",
    r"Looks and gets": "how bright it looks, what it gets",
    r"\"Beside it\"": "compared with",
    r"Ek stands on|on whose word": "source",
    r"bears on it": "evidence",
    r"what holds it there": "limited by",
    r"Verified as written": "read back and checked",
    r"\breckon": "calculate",
    r"no interval of confidence": "not a confidence interval",
    r"in the order (that|in which they) (is|are) least work": "ordered for least work",
    r"steadily [\d.{]+ times|what a coral is set for": "the light stays up to ... times ahead",
    r"\bsulks?\b": "pales or stays closed",
    r"corals? adapts?\b": "acclimatise",
    r"only a high peak is spoken of": "only high peaks are flagged",
    r"alike for all:": "the same for all",
    r"\boverall factor": "overall setting",
    r"Nothing is written before": "files change only when you save; notes go into the diary at once",
    r"within on \d+ %": "... % of the area is in range",
}


def printed_files() -> list[Path]:
    """Every file of the package that people may read the words of."""
    kinds = ("*.py", "*.md", "*.html", "*.js", "*.toml")
    return sorted(path for kind in kinds for path in HOUSE.rglob(kind) if "schemas" not in path.parts)


@pytest.mark.pinned
@pytest.mark.parametrize("retired", RETIRED)
def test_retired_phrase_stands_nowhere(retired: str) -> None:
    """The sentence that takes its place is named beside it."""
    pattern = re.compile(retired, re.I)
    found = [
        f"{path.relative_to(HOUSE)}:{number}: {line.strip()[:90]}"
        for path in printed_files()
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if pattern.search(line)
    ]
    assert not found, f"write {RETIRED[retired]!r}:\n" + "\n".join(found)


@pytest.mark.identity
def test_list_of_retired_phrases_finds_them() -> None:
    """Each pattern matches a sentence that was printed once."""
    once = """Unmeasured: stands on data-sheet values; count on 0.6 to 1.05 of them. cannot be told yet.
        Looks and gets. "Beside it": B. Ek stands on, on whose word. What bears on it. What holds it there.
        Verified as written. reckons. no interval of confidence. in the order that is least work.
        steadily 1.27 times what a coral is set for. If it sulks. corals adapt. only a high peak is spoken of.
        alike for all: x. within on 60 %. Overall factor. Nothing is written before you save."""
    assert all(re.search(retired, once, re.I) for retired in RETIRED)


@pytest.mark.identity
def test_units_in_sentences_are_written_in_one_way() -> None:
    """umol/m2/s and mol/m2/day in all text for people; files and tables for machines name their units."""
    found = []
    for path in HOUSE.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        aside = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}  # docstrings
        aside |= {
            id(node.value) for node in ast.walk(tree) if isinstance(node, ast.keyword) and node.arg == "what"
        }
        found += [
            f"{path.relative_to(HOUSE)}:{node.lineno}: {node.value}"
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in aside
            if re.search(r"mol m-2 (s-1|d-1)(?! nm)", node.value)
            if not re.fullmatch(r"u?mol m-2 [sd]-1", node.value)
        ]
    assert not found
    assert set(READING_UNITS.values()) == {PPFD_UNIT, "lx"}
