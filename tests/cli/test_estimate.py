"""`lightdose estimate`: JSON by contract, words, and every slip met with a sentence."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from click.testing import CliRunner

from lightdose.cli import cli

BASE = ["--unit", "umol", "--where", "water", "--white", "none", "--hours", "10"]


def run(*words: str) -> Any:
    return CliRunner().invoke(cli, ["estimate", *words])


@pytest.mark.identity
def test_json_has_the_contracts_keys_and_the_trapezoid_day() -> None:
    """The object is versioned, its ranges rise, and the dose follows from hours and ramp."""
    result = run("--reading", "150", *BASE, "--ramp", "2", "--group", "lps-branching", "--json")
    assert result.exit_code == 0
    found = json.loads(result.output)
    assert found["format"] == "lightdose-estimate/1"
    low, high = found["ppfd_umol_m2_s"]
    assert low < 150 < high
    assert found["dli_mol_m2_d"] == pytest.approx([0.0036 * 8 * low, 0.0036 * 8 * high])
    assert found["states"] == ["within", "above"]
    assert found["would_a_better_reading_change_the_advice"] is True


@pytest.mark.identity
def test_genus_means_its_group_and_comma_is_a_decimal_mark() -> None:
    """`--group Acropora` is judged as sps-shallow; 0,5 h is half an hour."""
    result = run("--reading", "150,5", *BASE, "--ramp", "0,5", "--group", "acropora", "--json")
    found = json.loads(result.output)
    assert (found["group"], found["reading"], found["ramp_h"]) == ("sps-shallow", 150.5, 0.5)


@pytest.mark.identity
def test_trade_name_is_told_how_it_is_read() -> None:
    """Nothing lands silently: the group that a trade name was read as stands first."""
    result = run("--reading", "150", *BASE, "--group", "clove polyps")
    assert result.output.startswith("clove polyp: read as Clavularia, star and clove polyps\n")


@pytest.mark.pinned
def test_phone_without_white_is_told_that_it_cannot_settle_this() -> None:
    """The sentence for lux without white, the sunlight claim and the photograph."""
    result = run(
        "--reading", "9000", "--unit", "lux", "--where", "air", "--white", "none", "--hours", "10"
    )  # fmt: skip
    assert result.exit_code == 0
    assert "cannot settle this" in result.output
    assert "would have claimed 167 umol/m2/s" in result.output
    assert "read from a photograph" in result.output
    assert result.output.isascii()
    table = result.output.partition("\ngroup ")[2].partition("\n\n")[0]
    assert len(table.splitlines()) == 3 + 18
    assert "colour of the light and of the sensor: times" not in result.output


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--reading", "20000", *BASE], "this looks like lux: write --unit lux"),
        (["--reading", "-5", *BASE], "the reading -5 is not above 0"),
        (["--reading", "0", *BASE], "0 says that no light fell on the sensor"),
        (["--reading", "nan", *BASE], "--reading \"nan\" is not a number"),
        (["--reading", "150", *BASE[:-1], "25"], "--hours 25 is not a day's light"),
        (["--reading", "150", *BASE[:-1], "0"], "--hours 0 is not a day's light"),
        (["--reading", "150", *BASE, "--ramp", "6"], "--ramp 6 twice is longer than the 10 h of light"),
        (["--reading", "150", *BASE, "--ramp", "-1"], "--ramp -1 is negative"),
        (["--reading", "150", *BASE, "--depth", "0.2"], 'write "0.2 m" or "0.2 cm"'),
        (["--reading", "150", *BASE, "--depth", "9 m"], "is outside the range"),
        (["--reading", "150", *BASE, "--immersion", "3"], "--immersion 3 is outside the range"),
        (["--reading", "150", *BASE, "--lamp-height", "20 cm"], "together with --where air and --depth"),
        (["--reading", "150", *BASE, "--group", "acropra"], "did you mean"),
    ],
)  # fmt: skip
def test_slip_is_met_with_a_sentence(words: list[str], sentence: str) -> None:
    """Every slip ends in 2, says what was found and what is allowed, and answers nothing."""
    result = run(*words)
    assert result.exit_code == 2
    assert sentence in result.output
    assert "Traceback" not in result.output


@pytest.mark.identity
def test_immersion_in_the_air_is_refused() -> None:
    """An immersion factor belongs to a wet sensor."""
    air = ["--unit", "umol", "--where", "air", "--white", "none", "--hours", "10"]
    result = run("--reading", "150", *air, "--immersion", "1.3")
    assert result.exit_code == 2
    assert "--immersion is for readings under water" in result.output


@pytest.mark.identity
def test_every_slip_is_named_in_one_run() -> None:
    """Reading, hours and depth are wrong: three problems, counted."""
    result = run("--reading", "20000", *BASE[:-1], "25", "--depth", "-1 cm")
    assert "3 problems" in result.output


@pytest.mark.identity
def test_all_adds_what_the_width_comes_from() -> None:
    """Each cause with its factor and source; their product spans the range."""
    words = ("--reading", "150", *BASE)
    brief, whole = run(*words).output, run(*words, "--all").output
    assert "What the width comes from" not in brief
    assert "- immersion is not known: times 1.00 to 1.40 [1.2-1.4 from memory" in whole
    found = json.loads(run(*words, "--json").output)
    ends = [math.prod(f[end] for f in found["factors"]) for end in ("low", "high")]
    assert found["ppfd_umol_m2_s"] == pytest.approx([150 * end for end in ends])
