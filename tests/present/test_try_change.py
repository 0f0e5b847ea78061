"""The section "try a change": data that no page takes for markup, one script for every setup."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest

from lightdose.model.changes import TryChange, TryChannel, TryFixture, TryRow
from lightdose.model.fixture import DimmingCurve
from lightdose.present.report import try_change_section

HOSTILE = "</script><!-- \u2028\u2029 & \" ' <b>"


def record(name: str) -> TryChange:
    channel = TryChannel(
        name, name, np.array([8.0, 9.0]), np.array([0.0, 0.5]), DimmingCurve.linear(), 0.5, 0.5, (1, 1)
    )
    row = TryRow(name, name, 0, "group", (1.0, 2.0), 0.5, 3.0, 100.0, 1 / 3, 20.0, 19.0, "below")
    fixture = TryFixture(name, 0, 1, "time,blue\n", "tried-lamp.csv")
    return TryChange((channel,), (fixture,), (row,), np.array([[37.1]]), 0, 0.0)


@pytest.mark.identity
def test_data_block_with_hostile_names_holds_no_markup_and_reads_back() -> None:
    """Neither tag, comment, entity nor line separator stands in the block; JSON gives all back."""
    html = try_change_section(record(HOSTILE)).html
    block = re.findall(r'<script type="application/json" id="try-data">(.*?)</script>', html, re.DOTALL)
    assert len(block) == 1
    assert not re.search("[<>&\u2028\u2029]", block[0])
    data = json.loads(block[0])
    assert data["rows"][0]["coral"] == HOSTILE.replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
    assert data["rows"][0]["dli"] == 1 / 3
    assert data["response"] == [[37.1]]


@pytest.mark.identity
def test_script_and_style_are_the_same_for_every_setup() -> None:
    """A policy may name them by one hash each; only the data differ."""
    one, two = try_change_section(record("a")), try_change_section(record("b"))
    assert (one.script, one.style) == (two.script, two.style)
    assert one.html != two.html


@pytest.mark.identity
def test_markup_has_no_handler_no_style_attribute_and_no_address() -> None:
    """What a strict policy forbids is not there, and the script makes no code out of text."""
    section = try_change_section(record("plain"))
    assert not re.search(r"\s(on\w+|style|src|href)\s*=", section.html)
    assert not re.search(
        r"\b(eval|Function|innerHTML|outerHTML|document\.write|fetch|import)\b", section.script
    )
    assert "http" not in section.html + section.style + section.script.replace(
        "http://www.w3.org/2000/svg", ""
    )


@pytest.mark.pinned
def test_section_names_what_it_does_not_cover() -> None:
    """The page says what the sliders leave as it was."""
    html = try_change_section(record("plain")).html
    for words in (
        "Only programmes change",
        "not calculated anew",
        "10 % a week",
        "harms eyes",
        "one fixture",
    ):
        assert words in html
