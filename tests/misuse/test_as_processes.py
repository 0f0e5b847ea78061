"""True processes: memory asked from the system, its limits on files, Ctrl-C, letters a terminal lacks."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from misuse.ending import assert_ends_well, contents, run_alone
from misuse.every_file import FILES, changed_once, write_tank

pytestmark = pytest.mark.skipif(os.name == "nt", reason="limits and signals of POSIX systems")

if os.name != "nt":
    import resource


def _points(number: int) -> str:
    return ", ".join(f"[{100 * i / number:.6g}, {100 * i / number:.6g}]" for i in range(number + 1))


def _rows(number: int, row: str) -> str:
    return "".join(row.format(i) for i in range(number))


_SITES = "site,x_cm,y_cm,depth_cm,open_sky\n"
_CORALS = "coral,group,site,x_cm,y_cm,depth_cm,height_cm\n"
_DIMMING = "[[0, 0], [10, 7], [50, 46], [100, 100]]"
_CHANNEL = (
    '\n[[channel]]\nname = "c{}"\nspectrum = {{ peak_nm = 450, fwhm_nm = 18 }}\nphoton_flux_umol_s = 4\n'
)
_FIXTURE = (
    '\n[[fixture]]\nname = "f{}"\ntype = "lamp2.toml"\nat = {{ x = "40 cm", y = "20 cm", height = "9 cm" }}\n'
)
_BOMB = (
    '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "aaaaaaaaaa">'
    + "".join(f'<!ENTITY {chr(98 + i)} "{f"&{chr(97 + i)};" * 10}">' for i in range(9))
    + "]><IESTM2714><Header><Description>&j;</Description></Header></IESTM2714>"
)
_FOREIGN = (
    '<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a SYSTEM "file:///etc/passwd">]><IESTM2714>&a;</IESTM2714>'
)
DOSE = ("dose", "setup.toml")

TOO_MUCH: dict[str, tuple[tuple[str, ...], Callable[[], dict[str, str]]]] = {
    "rack of 1e9 columns": (DOSE, lambda: changed_once("setup.toml", "columns = 2", "columns = 1000000000")),
    "rack of 1e9 rows": (DOSE, lambda: changed_once("setup.toml", "rows = 1", "rows = 1000000000")),
    "dimming of 100,000 points": (DOSE, lambda: changed_once("lamp.toml", _DIMMING, f"[{_points(100_000)}]")),
    "beam of 50,001 angles": (
        DOSE,
        lambda: changed_once("lamp.toml", "[[0, 1], [60, 0.5], [90, 0]]", f"[{_points(50_000)}]"),
    ),
    "schedule of 100,000 rows": (
        DOSE,
        lambda: {"left.csv": FILES["left.csv"] + _rows(100_000, "12:00,{},1,1,1\n")},
    ),
    "programme of 60,000 points": (
        DOSE,
        lambda: changed_once("setup.toml", '["09:00", 60], ', '["09:00", 60], ' * 60_000),
    ),
    "100,000 sites": (DOSE, lambda: {"sites.csv": _SITES + _rows(100_000, "s{},30,20,10,1\n")}),
    "100,000 corals": (
        DOSE,
        lambda: {"corals.csv": _CORALS + _rows(100_000, "c{},lps-branching,A1,,,,0\n")},
    ),
    "5,000 misspelt sites": (
        DOSE,
        lambda: {
            "sites.csv": FILES["sites.csv"] + _rows(5_000, "s{},30,20,10,1\n"),
            "corals.csv": _CORALS + _rows(5_000, "c{0},clam,x{0},,,,0\n"),
        },
    ),
    "3,600 unknown columns": (
        DOSE,
        lambda: {"left.csv": "time" + _rows(3_600, ",x{}") + "\n08:00" + ",1" * 3_600 + "\n"},
    ),
    "10,000 channels": (DOSE, lambda: {"lamp2.toml": FILES["lamp2.toml"] + _rows(10_000, _CHANNEL)}),
    "10,000 fixtures": (DOSE, lambda: {"setup.toml": FILES["setup.toml"] + _rows(10_000, _FIXTURE)}),
    "spectrum of 21 MB": (
        ("spectrum", "cyan.csv"),
        lambda: {"cyan.csv": "wavelength_nm,relative_power\n" + _rows(1_500_000, "{},1.000000\n")},
    ),
    "spectrum of 100,000 rows": (
        DOSE,
        lambda: {"cyan.csv": "wavelength_nm,relative_power\n" + _rows(100_000, "4{:05d}e-3,1\n")},
    ),
    "spectrum of 2,000,000 rows": (
        ("spectrum", "cyan.csv"),
        lambda: {"cyan.csv": "wavelength_nm,relative_power\n" + _rows(2_000_000, "{},1\n")},
    ),
    "spectrum to 1e12 nm": (DOSE, lambda: {"cyan.csv": FILES["cyan.csv"] + "1e12,0\n"}),
    "luminous file of 1e9 angles": (
        DOSE,
        lambda: changed_once("beam.ies", "1 1000 1 4 1 1", "1 1000 1 1000000000 1 1"),
    ),
    "entities that grow": (("spectrum", "lamp.spdx"), lambda: {"lamp.spdx": _BOMB}),
    "entity of another file": (("spectrum", "lamp.spdx"), lambda: {"lamp.spdx": _FOREIGN}),
    "elements 50,000 deep": (
        ("spectrum", "lamp.spdx"),
        lambda: {"lamp.spdx": '<?xml version="1.0"?>' + "<a>" * 50_000},
    ),
    "lists 100,000 deep": (DOSE, lambda: changed_once("setup.toml", "rows = 1", "rows = " + "[" * 100_000)),
    "tables 5,000 deep": (DOSE, lambda: changed_once("setup.toml", "rows = 1", "rows = " + "{a=" * 5_000)),
    "key of 50,000 parts": (
        DOSE,
        lambda: changed_once("setup.toml", "rows = 1", "rows" + ".a" * 50_000 + " = 1"),
    ),
    "10,000 unknown keys": (DOSE, lambda: changed_once("setup.toml", "rows = 1", _rows(10_000, "k{} = 1\n"))),
    "200,000 quotes": (DOSE, lambda: {"setup.toml": FILES["setup.toml"] + '"' * 200_000}),
    "200,000 bare words": (DOSE, lambda: {"setup.toml": FILES["setup.toml"] + "x = " + "a, " * 200_000}),
    "line of 5 MB": (DOSE, lambda: {"left.csv": FILES["left.csv"] + "1" * 5_000_000}),
    "2 MB of line ends": (DOSE, lambda: {"left.csv": FILES["left.csv"] + "\n" * 2_000_000}),
    "100,000 broken readings": (
        ("calibrate", "setup.toml", "readings.csv"),
        lambda: {"readings.csv": FILES["readings.csv"] + "x,y,z,a\n" * 100_000},
    ),
    "cells of 1 nm": (("map", "setup.toml", "--cell", "0.000001 mm"), dict),
    "grid of 1 nm": (("place", "setup.toml", "--grid", "0.000001 mm"), dict),
    "plateau of 1e9 hours": (("tune", "setup.toml", "--plateau", "0-1000000000"), dict),
    "schedule from an endless device": ((*DOSE, "--schedule", "/dev/zero"), dict),
    "setup that is an endless device": (("dose", "/dev/zero"), dict),
}


KIN = {
    *("rack of 1e9 rows", "beam of 50,001 angles", "programme of 60,000 points", "100,000 sites"),
    *("10,000 channels", "spectrum of 2,000,000 rows", "10,000 unknown keys", "200,000 bare words"),
    *("grid of 1 nm", "tables 5,000 deep"),
}
"""Each has another case of its kind, in the same reader; these are slow."""

ANSWERED = {"spectrum of 100,000 rows", "2 MB of line ends"}
"""Much, but nothing that could not be computed."""


@pytest.mark.identity
@pytest.mark.parametrize(
    "case", [pytest.param(case, marks=pytest.mark.slow if case in KIN else ()) for case in TOO_MUCH]
)
def test_what_is_too_much_is_refused_before_it_is_built(case: str, tmp_path: Path) -> None:
    """Sizes beyond the limits: exit 2 with one message, under 1 GB and 20 s by the system's count."""
    words, changed = TOO_MUCH[case]
    tank = write_tank(tmp_path / "tank", changed())
    before = contents(tank)
    ending = run_alone(words, tank)
    assert_ends_well(ending, codes=(0,) if case in ANSWERED else (2,))
    assert contents(tank) == before


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "limit_bytes"),
    [
        (("dose", "setup.toml", "--csv", "OUT/a.csv"), 200),
        (("dose", "setup.toml", "--csv-schedule", "OUT"), 10),
        (("map", "setup.toml", "--cell", "5 cm", "--csv", "OUT/a.csv"), 1000),
        (("hazard", "setup.toml", "setup.toml", "--csv", "OUT/a.csv", "--jobs", "1"), 50),
        (("survey", "setup.toml", "-o", "OUT"), 1000),
        (("tune", "setup.toml", "-o", "OUT"), 20),
        (("init", "OUT"), 3000),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else str(value),
)
def test_limit_of_the_systems_file_size_leaves_no_half_file(
    words: tuple[str, ...], limit_bytes: int, tmp_path: Path
) -> None:
    """Where the system lets no file grow further, the message says so and no half or temporary file stays."""
    tank = write_tank(tmp_path / "tank")
    before = contents(tank)

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit_bytes, limit_bytes))

    out = tank / "out"
    ending = run_alone([w.replace("OUT", "out") for w in words], tank, first=small_files)
    assert_ends_well(ending, codes=(2,))
    whole = {key: value for key, value in contents(tank).items() if key not in before}
    assert all((tank / key).stat().st_size <= limit_bytes and ".tmp" not in key for key in whole), whole
    assert not out.exists() or words[0] in {"init", "tune", "survey", "dose"} or not list(out.iterdir())


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437"])
def test_letters_that_the_terminal_lacks_end_no_command(encoding: str, tmp_path: Path) -> None:
    """A name in letters that the stream's encoding lacks is shown as an escape."""
    tank = write_tank(
        tmp_path / "tank", changed_once("setup.toml", '"tip"', '"\u73ca\u745a \U0001f41f \u00df"')
    )
    assert_ends_well(run_alone(("dose", "setup.toml"), tank, encoding=encoding), codes=(0,))


@pytest.mark.identity
@pytest.mark.parametrize(
    "words",
    [
        ("report", "setup.toml", "-o", "out.html"),
        ("map", "setup.toml", "--cell", "4 mm", "--csv", "out.csv"),
        ("tune", "setup.toml", "-o", "out"),
        ("dose", "setup.toml", "--figures", "out"),
    ],
    ids=lambda words: words[0],
)
def test_interrupt_of_the_keyboard_ends_with_130_and_whole_files(
    words: tuple[str, ...], tmp_path: Path
) -> None:
    """Interrupted once it has begun to work: no trace, no temporary file."""
    tank = write_tank(tmp_path / "tank")
    process = subprocess.Popen(
        [sys.executable, "-c", _BEGUN, *words],
        cwd=tank,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "begun\n"
    time.sleep(0.4)
    process.send_signal(signal.SIGINT)
    out, told = process.communicate(timeout=20)
    # Where Python itself is about to end, the signal does it: a shell tells that as 130 too.
    assert process.returncode in {130, -signal.SIGINT, 0}, (process.returncode, told)
    assert "Traceback" not in told + out, told
    assert not [path for path in tank.rglob("*") if ".tmp" in path.name]


_BEGUN = """
import sys
from lightdose.cli import main
print("begun", flush=True)
sys.argv[0] = "lightdose"
main()
"""


@pytest.mark.identity
def test_interrupt_that_falls_into_a_callback_of_the_interpreter_is_not_lost() -> None:
    """Where Python itself prints such a Ctrl-C and goes on, the command ends with 130 and no words."""
    process = subprocess.run(
        [sys.executable, "-c", _LOST], capture_output=True, text=True, timeout=20, check=False
    )
    assert (process.returncode, process.stdout, process.stderr) == (130, "", "\n")


_LOST = """
import signal, sys, time, weakref
from lightdose import cli

class Lock:
    pass

class Falls(cli.CommandGroup):
    def get_command(self, ctx, cmd_name):
        lock = Lock()
        watch = weakref.ref(lock, lambda _: signal.raise_signal(signal.SIGINT))
        del lock
        for _ in range(1000):
            time.sleep(0.01)
        return super().get_command(ctx, cmd_name)

cli.cli.__class__ = Falls
sys.argv[1:] = ["groups"]
cli.main()
"""


@pytest.mark.identity
def test_reader_that_leaves_early_ends_no_command(tmp_path: Path) -> None:
    """Behind `| head -1` every command keeps its exit code and prints no trace."""
    tank = write_tank(tmp_path / "tank")
    for words in (DOSE, (*DOSE, "--json"), ("groups",), ("map", "setup.toml", "--json")):
        process = subprocess.Popen(
            [sys.executable, "-m", "lightdose", *words],
            cwd=tank,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        told = process.stderr.read()
        process.stderr.close()
        assert process.wait(20) == 0, told
        assert "Traceback" not in told
        assert "Broken pipe" not in told
