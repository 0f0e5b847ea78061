"""A working folder that a stranger sent: what lies in it is data, never code or settings."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Iterable
from pathlib import Path

import pytest
from cli.small_tanks import write_tank
from misuse.ending import Ending, assert_ends_well, contents, run_alone

ROOT = Path(__file__).resolve().parents[2]
THIRD_PARTY = """
    PIL annotated_types click colour contourpy cycler dateutil fontTools jinja2 kiwisolver markdown_it
    markupsafe matplotlib numpy packaging pandas pydantic pydantic_core pygments pyparsing pytz rich scipy six
    typing_extensions typing_inspection
"""
SCRIPT = f"""
import sys
sys.path.insert(1, {str(ROOT)!r})
from lightdose.cli import main
if __name__ == "__main__":
    sys.exit(main())
"""
"""What an installer writes for the command, with the package found wherever it lies."""

MANY = ("dose", "report")


def every_module() -> set[str]:
    return {"lightdose", *sys.stdlib_module_names, *THIRD_PARTY.split()}


@pytest.fixture
def strange(tmp_path: Path) -> Path:
    """A working folder with two tanks."""
    folder = tmp_path / "strange"
    for name in "ab":
        write_tank(folder / name)
    return folder


def lay_traps(folder: Path, names: Iterable[str]) -> Path:
    """A file for each module that tells, in the file given back, that it was run."""
    told = folder.parent / "was run"
    for name in names:
        code = f"open({str(told)!r}, 'a').write({name!r} + ' ')\n"
        (folder / f"{name}.py").write_text(code, encoding="utf-8")
    return told


def write_script(folder: Path) -> str:
    (folder / "bin").mkdir()
    script = folder / "bin" / "lightdose"
    script.write_text(SCRIPT, encoding="utf-8")
    return str(script)


def options(command: str) -> tuple[str, ...]:
    return (command, ".", "--jobs", "2", *(("-o", "out") if command == "report" else ()))


def assert_answered(ending: Ending, told: Path) -> None:
    assert not told.exists(), f"run from the working folder: {told.read_text()}"
    assert_ends_well(ending, codes=(0,))


@pytest.mark.identity
@pytest.mark.parametrize("command", MANY)
def test_processes_of_the_command_run_no_module_of_the_working_folder(
    command: str, strange: Path, tmp_path: Path
) -> None:
    """A folder full of modules named like the libraries': two processes answer, no such module is run."""
    told = lay_traps(strange, every_module())
    assert_answered(run_alone(options(command), strange, start=(write_script(tmp_path),)), told)


@pytest.mark.identity
@pytest.mark.parametrize("command", MANY)
def test_started_as_a_module_it_runs_none_but_those_that_python_needs_to_start(
    command: str, strange: Path, tmp_path: Path
) -> None:
    """``python -m`` searches the working folder first: what it has not loaded by then is safe."""
    bare = tmp_path / "bare"
    bare.mkdir()
    (bare / "bare.py").write_text("import sys; print(*sys.modules)", encoding="utf-8")
    run = subprocess.run([sys.executable, "-m", "bare"], cwd=bare, capture_output=True, text=True, check=True)
    told = lay_traps(strange, every_module() - {*run.stdout.split(), "lightdose"})
    assert not (strange / "collections.py").exists()
    assert (strange / "typing.py").exists()
    assert_answered(run_alone(options(command), strange), told)


@pytest.mark.identity
def test_module_start_with_a_safe_path_runs_no_module_at_all(strange: Path) -> None:
    """``python -P -m lightdose`` in a folder full of modules named like the libraries'."""
    told = lay_traps(strange, every_module())
    assert_answered(run_alone(options("dose"), strange, start=("-P", "-m", "lightdose")), told)


@pytest.mark.identity
def test_where_no_process_can_be_told_to_be_safe_one_does_all(strange: Path, tmp_path: Path) -> None:
    """Under ``-E`` children would not look at the variable that keeps them off the folder: none starts."""
    told = lay_traps(strange, every_module())
    script = write_script(tmp_path)
    assert_answered(run_alone(options("dose"), strange, start=("-E", script)), told)


@pytest.mark.identity
def test_figures_take_no_settings_from_the_working_folder(strange: Path) -> None:
    """A ``matplotlibrc`` there, whose letters end the library's start, changes no byte and says nothing."""
    words = ("spectrum", "blue-450", "--figures", "out")
    plain = run_alone(words, strange)
    assert_ends_well(plain, codes=(0,))
    written = contents(strange / "out")
    assert written
    shutil.rmtree(strange / "out")
    (strange / "matplotlibrc").write_bytes(b"lines.linewidth: 40\nfont.size: \xff\xfe\n")
    other = run_alone(words, strange)
    assert (other.code, other.told) == (0, plain.told)
    assert contents(strange / "out") == written
