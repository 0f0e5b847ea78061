"""Options and words of every command with values that no keeper means: an answer or one message."""

from __future__ import annotations

from pathlib import Path

import pytest
from misuse.ending import assert_ends_well, assert_writes_nothing, contents, run_here
from misuse.every_file import write_tank

NUMBERS = (
    "nan",
    "inf",
    "-inf",
    "1e400",
    "-1",
    "0",
    "1e-300",
    "1e300",
    "",
    "x",
    "1_000",
    "\u0661\u0662",
    "0x10",
)
LENGTHS = ("nan cm", "1e400 m", "-1 cm", "0 cm", "1e-300 m", "1e300 in", "", "cm", "5", "5 parsec", "1e6 km")
WORDS = (
    "",
    "=1+1",
    "\x1b[31mred",
    "\u202eabc",
    "a\nb",
    "../../x",
    "x" * 5000,
    "\u73ca\u745a",
    "--",
    "=",
    "a=b=c",
    "[x]",
)
TIMES = ("", "25:61", "24:01", "0730", "-1:00", "23:59+9", "nan", "\x1b[31m", "12:00:00:00")
DATES = ("9999-12-31", "0000-01-01", "2026-02-30", "1900-01-01", "tomorrow", "", "\x1b[31m", "2026-3-1")

_ESTIMATE = ("estimate", "--unit", "lux", "--where", "air", "--white", "none")
_TUNE = ("tune", "setup.toml")
_PLACE = ("place", "setup.toml")
_ACCLIMATE = ("acclimate", "setup.toml", "setup.toml")
_MOVE = ("move", "setup.toml", "hammer", "--to", "ledge")
_CALIBRATE = ("calibrate", "setup.toml", "readings.csv")

COMMANDS: dict[tuple[str, ...], tuple[str, ...]] = {
    ("dose", "setup.toml", "--fixture-height=?"): LENGTHS,
    ("dose", "setup.toml", "--jobs=?"): NUMBERS,
    ("dose", "setup.toml", "--site=?"): WORDS,
    ("map", "setup.toml", "--cell=?"): LENGTHS,
    ("map", "setup.toml", "--depth=?", "--cell=20 cm"): LENGTHS,
    ("map", "setup.toml", "--samples=?", "--cell=20 cm"): NUMBERS,
    ("map", "setup.toml", "--explain=?"): WORDS,
    ("map", "setup.toml", "--group=?"): WORDS,
    (*_ESTIMATE, "--hours=8", "--reading=?"): NUMBERS,
    (*_ESTIMATE, "--reading=100", "--hours=?"): NUMBERS,
    (*_ESTIMATE, "--reading=100", "--hours=8", "--ramp=?"): NUMBERS,
    (*_ESTIMATE, "--reading=100", "--hours=8", "--depth=?"): LENGTHS,
    (*_ESTIMATE, "--reading=100", "--hours=8", "--group=?"): WORDS,
    (*_ESTIMATE, "--reading=100", "--hours=8", "--immersion=?"): NUMBERS,
    ("survey", "setup.toml", "--readings=?"): NUMBERS,
    ("survey", "setup.toml", "--meter=?"): WORDS,
    ("meter", "setup.toml", "--site=ridge", "--", "?"): NUMBERS,
    ("meter", "setup.toml", "100", "--site=?"): WORDS,
    ("meter", "setup.toml", "100", "--time=?", "--site=ridge"): TIMES,
    ("meter", "setup.toml", "100", "--air=?"): (
        "",
        "1",
        "nan,nan,nan",
        "1e400,1,1",
        "10,10,1e9",
        ",,",
        "a,b,c",
        "9,9,0",
    ),
    (*_CALIBRATE, "--date=?"): DATES,
    (*_CALIBRATE, "--open-sky=?"): WORDS,
    ("sensitivity", "setup.toml", "--case=?"): (
        *WORDS,
        "height +1e300 cm",
        "yellowing nan",
        "output -1e400 %",
    ),
    (*_TUNE, "--plateau=?"): ("0-1e9", "nan-inf", "5", "-", "9-5", "0-0", "5--9", "1e400-2", ""),
    (*_TUNE, "--cap=?"): ("blue=nan", "blue=1e400", "=", "nope=5", "left/blue=-1", "blue", *WORDS[:6]),
    (*_TUNE, "--ramp-up=?"): NUMBERS,
    (*_TUNE, "--most-points=?"): NUMBERS,
    (*_TUNE, "--time-step=?"): NUMBERS,
    (*_TUNE, "--keep-look=?"): ("nan", "inf", "1e-300", "-1", "2"),
    (*_TUNE, "--off=?"): WORDS,
    ("match", "setup.toml", "setup.toml", "--pair=?"): WORDS,
    (*_PLACE, "--grid=?"): LENGTHS,
    (*_PLACE, "--apart=?"): LENGTHS,
    (*_PLACE, "--pin=?"): WORDS,
    (*_MOVE, "--rise=?"): NUMBERS,
    (*_MOVE, "--start=?"): DATES,
    ("move", "setup.toml", "hammer", "--to=?"): WORDS,
    ("move", "setup.toml", "--to=ledge", "--", "?"): WORDS,
    (*_ACCLIMATE, "--rise=?"): NUMBERS,
    (*_ACCLIMATE, "--days=?"): NUMBERS,
    (*_ACCLIMATE, "--start=?"): DATES,
    (*_ACCLIMATE, "--previous=?"): ("tip=nan", "tip=1e300", "tip=1e-300", "tip=-1", "tip", "x=1", *WORDS[:6]),
    ("compare", "setup.toml", "--fixture-height=10 cm", "--site=?"): WORDS,
    ("slip", "setup.toml", "--date=2026-03-14", "--", "?"): WORDS,
    ("slip", "setup.toml", "tip", "--date=?"): DATES,
    ("spectrum", "--", "?"): WORDS,
    ("completion", "--", "?"): WORDS,
    ("--", "?"): WORDS,
}
"""A command with a gap -> what is put there."""


@pytest.mark.identity
@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_odd_value_of_an_option_ends_in_an_answer_or_one_message(
    command: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each odd value is answered or refused in words that name it; nothing overflows, hangs or is written."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    before = contents(tmp_path)
    for value in COMMANDS[command]:
        assert_ends_well(run_here([word.replace("?", value) for word in command]))
    assert_writes_nothing(before, tmp_path)
