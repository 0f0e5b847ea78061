"""What docstrings and the guide show of Python runs as it stands there."""

from __future__ import annotations

import doctest
import re
import shutil
from importlib import import_module
from pathlib import Path

import pytest

import lightdose
from lightdose.guide import pages

ROOT = Path(__file__).resolve().parents[2]
HOMES = (
    "lightdose.python.lengths",
    "lightdose.python.parts",
    "lightdose.python.questions",
    "lightdose.python.reading",
)


@pytest.mark.identity
@pytest.mark.parametrize("home", HOMES)
def test_docstrings_show_what_python_prints(home: str) -> None:
    """Every module of what is built and asked has an example, and each prints what stands under it."""
    done = doctest.testmod(import_module(home), extraglobs={"lightdose": lightdose})
    assert done.attempted > 0
    assert done.failed == 0


@pytest.mark.identity
def test_guide_page_runs_from_top_to_bottom(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its blocks of code, one after another, on a copy of the shipped example."""
    monkeypatch.chdir(tmp_path)
    shutil.copytree(ROOT / "examples" / "first-tank", "my-tank")
    page = (Path(pages.__file__).parent / "python.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    assert len(blocks) >= 4
    told: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, "python.md", "exec"), told)
    assert (tmp_path / "study-tank" / "setup.toml").is_file()
