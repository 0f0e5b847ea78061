"""The manual: its pages are the markdown files beside this one, shown by ``lightdose guide``."""

from __future__ import annotations

TOPICS = (
    "start",
    "desk",
    "answers",
    "readings",
    "change",
    "diary",
    "explain",
    "shop",
    "files",
    "setup",
    "fixture",
    "schedule",
    "spectra",
    "groups",
    "evidence",
    "words",
    "quantities",
    "limits",
    "methods",
    "safety",
    "output",
    "python",
    "commands",
)
"""The pages in the order in which a newcomer reads them; page X is X.md."""
