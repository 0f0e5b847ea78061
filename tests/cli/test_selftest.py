"""`lightdose selftest`: lines for people, JSON for machines, exit code 1 where a check fails."""

from __future__ import annotations

import json
from typing import Any

import pytest
from click.testing import CliRunner

from lightdose.cli import cli
from lightdose.workflows import selftest


def strict(text: str) -> Any:
    def refuse(word: str) -> float:
        raise AssertionError(f"{word} in JSON")

    return json.loads(text, parse_constant=refuse)


@pytest.mark.identity
def test_lines_and_json_tell_the_same_checks() -> None:
    """Every published value stands in a line of its own; JSON holds all, with versions."""
    shown = CliRunner().invoke(cli, ["selftest"])
    found = strict(CliRunner().invoke(cli, ["selftest", "--json"]).stdout)
    assert shown.exit_code == 0
    assert found["format"] == "lightdose-selftest/1"
    assert found["passed"] is True
    assert shown.stdout.splitlines()[-1] == f"All {len(found['checks'])} checks passed."
    for check in found["checks"]:
        if check["kind"] != "installed":
            assert f"- passed: {check['what']}: expected" in shown.stdout
            assert check["source"] in shown.stdout
    assert f"numpy {found['versions']['numpy']}" in shown.stdout


@pytest.mark.identity
@pytest.mark.parametrize("value", [9.0, float("nan")])
def test_failed_check_is_named_and_exits_with_one(value: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """What was expected and what came out stand side by side; the verdict is the last line."""
    monkeypatch.setattr(selftest, "photons_per_joule", lambda _: value)
    done = CliRunner().invoke(cli, ["selftest"])
    assert done.exit_code == 1
    assert (
        f"- FAILED: photons in a joule at 450 nm: expected 3.761706 umol/J, got {value:g} umol/J"
        in done.stdout
    )
    assert done.stdout.splitlines()[-1].startswith("2 of ")
    as_json = CliRunner().invoke(cli, ["selftest", "--json"])
    assert as_json.exit_code == 1
    assert strict(as_json.stdout)["passed"] is False
