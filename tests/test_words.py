"""Phrases that people stumbled over stay out of everything that is printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import lightdose

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
        alike for all: x. within on 60 %."""
    assert all(re.search(retired, once, re.I) for retired in RETIRED)
