"""The search path of modules that processes are given: the working folder does not lead it."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest
from cli.worker_tasks import figures_line_width

import lightdose
from lightdose.cli.many import SAFE, _off_the_working_folder, in_order
from lightdose.working_folder import safe_path

HOME = str(Path(lightdose.__file__).resolve().parents[1])


@pytest.mark.identity
def test_working_folder_in_the_lead_is_left_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written out by ``-m`` or empty after ``-c``; an entry that the user put further back stays."""
    monkeypatch.chdir(tmp_path)
    here = os.getcwd()
    assert safe_path([here, "/lib", "/more"]) == ["/lib", "/more"]
    assert safe_path(["", "/lib"]) == ["/lib"]
    assert safe_path(["/bin", here, "/lib"]) == ["/bin", here, "/lib"]
    assert safe_path([]) == []


@pytest.mark.identity
def test_folder_of_the_package_itself_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Run from a checkout, processes find the package there."""
    monkeypatch.chdir(HOME)
    assert safe_path([HOME, "/lib"]) == [HOME, "/lib"]
    assert safe_path(["", "/lib"]) == ["", "/lib"]


@pytest.mark.identity
@pytest.mark.skipif(os.name == "nt", reason="a folder in use cannot be removed")
def test_working_folder_that_is_gone_is_no_trouble(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing can be found there, and the rest stays."""
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    assert safe_path(["", "/lib"]) == ["/lib"]


@pytest.mark.identity
@pytest.mark.parametrize("before", [None, "", "1"])
def test_start_of_a_process_leaves_path_and_environment_as_they_were(
    before: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Within, both are safe; after it, also after an error, both are what they were."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "path", ["", *sys.path])
    if before is None:
        monkeypatch.delenv(SAFE, raising=False)
    else:
        monkeypatch.setenv(SAFE, before)
    path = sys.path[:]
    with pytest.raises(KeyboardInterrupt):
        _interrupted_start()
    assert os.environ.get(SAFE) == before
    assert sys.path == path


def _interrupted_start() -> None:
    path = sys.path[:]
    with _off_the_working_folder():
        assert os.environ[SAFE] == "1"
        assert sys.path == path[1:]
        raise KeyboardInterrupt


@pytest.mark.identity
def test_processes_that_share_tasks_take_no_settings_from_the_working_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A ``matplotlibrc`` there leaves lines as wide as they are."""
    (tmp_path / "matplotlibrc").write_text("lines.linewidth: 40\n", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert set(in_order(figures_line_width, [0, 1], 2, figures_line_width)) == {1.5}
