"""The evidence on colour: both sides, each finding with a source that the groups file knows too."""

from __future__ import annotations

import pytest

from lightdose.files.groups_file import default_groups
from lightdose.judge.map_choice import EVIDENCE


@pytest.mark.identity
def test_both_sides_stand_with_their_sources() -> None:
    """Findings for and against, none without a source; one from memory says so."""
    assert {e.side for e in EVIDENCE} == {"for", "against"}
    assert all(e.source for e in EVIDENCE)
    assert sum("from memory" in e.source for e in EVIDENCE) == 1
    assert not any("optimal" in e.text or "best" in e.text for e in EVIDENCE)


@pytest.mark.identity
def test_citations_agree_with_those_of_the_groups() -> None:
    """A citation is written as in the groups file, but for what it adds in brackets."""
    known = [c.split(" (")[0] for c in default_groups()[1].values()]
    for evidence in EVIDENCE:
        if "no published source" in evidence.source:
            continue
        for part in evidence.source.split("; "):
            assert any(citation in part for citation in known), part
