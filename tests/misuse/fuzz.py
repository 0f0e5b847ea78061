"""Cases without end, each drawn from a seed and its number alone: files harmed, tanks at their limits.

A case ends well where ``ending.py`` says so, and besides: no warning of a library, at most 1 GB more memory,
no number that cannot be (a dose below zero, an interval whose ends are swapped), no NaN in a written file.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import warnings
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from random import Random

from misuse.ending import LIMIT_MB, TooSlowError, assert_ends_well, contents, run_alone, run_here
from misuse.every_file import FILES, write_tank
from misuse.extreme_tanks import COMMANDS, SELDOM, extreme_tank
from misuse.structured import harmed

READ_BY: Mapping[str, tuple[tuple[str, ...], ...]] = {
    "readings.csv": (("calibrate", "setup.toml", "readings.csv", "--date", "2026-03-14"),),
    "lamp.spdx": (("spectrum", "lamp.spdx"),),
    "my-groups.toml": (("groups", "setup.toml"), ("dose", "setup.toml", "--json")),
    "response.csv": (("meter", "setup.toml", "120", "--site", "ridge"), ("survey", "setup.toml")),
    "rocks.csv": (("dose", "setup.toml", "--json"), ("map", "setup.toml", "--cell", "10 cm", "--skins")),
}
USUAL = (("dose", "setup.toml", "--json"), ("check", "setup.toml"), ("hazard", "setup.toml", "--json"))
"""A file of the tank is read by one of these where READ_BY does not name others."""

DIARY = "history", "setup.toml", "--json"


class FaultError(AssertionError):
    """A case that did not end well."""


@dataclass(frozen=True)
class Case:
    """What is laid down and what is run in it."""

    kind: str
    files: Mapping[str, bytes]
    words: tuple[str, ...]
    diary: bool = False


def case(seed: int, number: int) -> Case:
    """The case of that number: the same in every run."""
    draw = Random(f"{seed}, {number}")
    turn = draw.random()
    if turn < 0.55:
        name = draw.choice(list(FILES))
        files = {name: harmed(name, FILES[name].encode(), draw)}
        return Case(f"file {name}", files, draw.choice(READ_BY.get(name, USUAL)))
    if turn < 0.65:
        names = draw.sample(list(FILES), 3)
        files = {name: harmed(name, FILES[name].encode(), draw) for name in names}
        return Case("three files", files, draw.choice(USUAL))
    if turn < 0.75:
        name = draw.choice(DIARY_FILES)
        return Case(f"diary {name}", {name: b""}, DIARY, diary=True)
    words = draw.choice(COMMANDS[-SELDOM:] if draw.random() < 0.125 else COMMANDS[:-SELDOM])
    tank = extreme_tank(draw)
    return Case(f"tank, {words[0]}", {name: text.encode() for name, text in tank.items()}, words)


DIARY_FILES = (
    *("diary/states.csv", "diary/notes.csv", "diary/2025-01-01/files.csv", "diary/2025-01-01/setup.toml"),
    *("diary/2025-01-01/left.csv", "diary/2025-02-01/files.csv", "diary/readings.csv"),
)


def _with_diary(folder: Path, harm: str, draw: Random) -> None:
    """Two states and some notes, one of the files harmed."""
    from lightdose.files.diary_notes import add_notes
    from lightdose.files.diary_states import keep_state
    from lightdose.files.setup_file import read_setup
    from lightdose.model.diary import Note

    home = folder / "setup.toml"
    keep_state(read_setup(home), "2025-01-01", "first")
    left = folder / "left.csv"
    left.write_text(left.read_text(encoding="utf-8").replace("60", "61"), encoding="utf-8")
    keep_state(read_setup(home), "2025-02-01", "brighter")
    add_notes(
        folder / "diary", [Note(f"2025-01-0{n}", "hammer", "colour", float(n), "", "", n) for n in (1, 3, 5)]
    )
    path = folder / harm
    if path.is_file():
        path.write_bytes(harmed(path.name, path.read_bytes(), draw))


def lay(one: Case, folder: Path, draw: Random) -> None:
    """Write the files of a case into a new folder."""
    if one.kind.startswith("tank"):
        folder.mkdir(parents=True)
        for name, data in one.files.items():
            (folder / name).write_bytes(data)
    elif one.diary:
        write_tank(folder)
        _with_diary(folder, next(iter(one.files)), draw)
    else:
        write_tank(folder, one.files)


def run_case(seed: int, number: int, folder: Path, *, alone: bool = False) -> tuple[Case, int]:
    """Lay a case down, run it, look how it ended; gives case and exit code, or raises FaultError."""
    one = case(seed, number)
    lay(one, folder, Random(f"{seed}, {number}, harm"))
    before = contents(folder)
    with _watched(one, folder):
        ending = run_alone(one.words, folder) if alone else run_here(one.words)
        assert_ends_well(ending, codes=(0, 2), names=_names(folder))
        if "--json" in one.words and ending.code == 0:
            assert_makes_sense(json.loads(ending.out))
        after = contents(folder)
        assert {name: after.get(name) for name in before} == before, "an input was changed"
        for name in set(after) - set(before):
            assert name.startswith("out/"), f"{name} was written"
            if name.endswith((".html", ".svg", ".csv")):
                text = re.sub(r"(?s)<script>.*?</script>", "", (folder / name).read_text(encoding="utf-8"))
                assert not re.search(r"(?<![\w-])(?:NaN|Infinity)(?![\w-])", text), f"NaN in {name}"
    shutil.rmtree(folder)
    return one, ending.code


def _names(folder: Path) -> set[str]:
    """What places and corals are called in the tables of a tank: their first cells."""
    texts = [
        (folder / name).read_bytes() for name in ("sites.csv", "corals.csv") if (folder / name).is_file()
    ]
    lines = [line for text in texts for line in text.decode("utf-8", "replace").splitlines()]
    return {line.split(",")[0].strip(' "') for line in lines}


@contextlib.contextmanager
def _watched(one: Case, folder: Path) -> Iterator[None]:
    """The working folder, warnings as failures, memory counted; every way to fail becomes a FaultError."""
    home = os.getcwd()
    os.chdir(folder)
    floor_mb = _reset_peak_mb()
    try:
        with warnings.catch_warnings(record=True) as told:
            warnings.simplefilter("always")
            yield
        assert not told, f"a library warned: {told[0].message} ({told[0].filename}:{told[0].lineno})"
        peak_mb = _peak_mb() - floor_mb
        assert peak_mb < LIMIT_MB, f"{peak_mb:.0f} MB"
    except TooSlowError:
        raise FaultError(f"{one.kind}: {' '.join(one.words)}\ntook more than 20 s") from None
    except Exception as trouble:
        raise FaultError(
            f"{one.kind}: {' '.join(one.words)}\n{type(trouble).__name__}: {trouble}"
        ) from trouble
    finally:
        os.chdir(home)


def _reset_peak_mb() -> float:
    """Let the system count the peak anew, and give what is in memory now."""
    with contextlib.suppress(OSError):
        Path("/proc/self/clear_refs").write_text("5", encoding="ascii")
    return _peak_mb()


def _peak_mb() -> float:
    with contextlib.suppress(OSError):
        found = re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text(encoding="ascii"))
        return int(found[1]) / 1000 if found else 0.0
    return 0.0


_NEVER_BELOW_ZERO = re.compile(
    r"dli|.*_dose_mol_m2_d|.*ppfd_umol_m2_s|lux_at_peak|photoperiod_h|any_light_h|energy_kwh_d|.*probability.*"
)
_ENDS = re.compile(r"interval_95|.*_interval_95|range|band_dli")


def assert_makes_sense(value: object, key: str = "") -> None:
    """No dose, light or hours below zero, no swapped ends, no hours beyond those with light."""
    if isinstance(value, dict):
        if {"photoperiod_h", "any_light_h"} <= set(value) and value["any_light_h"] is not None:
            assert value["photoperiod_h"] <= value["any_light_h"] * (1 + 1e-9) + 1e-9, value
        for name, inner in value.items():
            assert_makes_sense(inner, f"{key}.{name}")
    elif isinstance(value, list):
        last = key.rpartition(".")[2]
        ends = [v for v in value if isinstance(v, int | float)]
        if len(value) == len(ends) == 2 and any(map(_ENDS.fullmatch, key.split("."))):
            assert ends[0] <= ends[1], (key, value)
        for inner in value:
            assert_makes_sense(inner, key)
        assert last is not None
    elif isinstance(value, int | float) and not isinstance(value, bool):
        assert not (_NEVER_BELOW_ZERO.fullmatch(key.rpartition(".")[2]) and value < 0), (key, value)


def run_many(
    seed: int, numbers: Sequence[int], folder: Path, *, alone: bool, go_on: Callable[[], bool]
) -> tuple[dict[str, list[int]], dict[int, str]]:
    """Kind -> how many cases ended with 0 and with 2; number -> the words of each fault."""
    counts: dict[str, list[int]] = {}
    faults: dict[int, str] = {}
    for number in numbers:
        if not go_on():
            break
        place = folder / str(number)
        try:
            one, code = run_case(seed, number, place, alone=alone)
        except FaultError as fault:
            faults[number] = str(fault)
            one, code = case(seed, number), 1
        row = counts.setdefault(one.kind, [0, 0, 0])
        row[{0: 0, 2: 1}.get(code, 2)] += 1
    return counts, faults
