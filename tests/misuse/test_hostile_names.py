"""Names from a stranger's file stay words: no tag, formula, terminal sequence or path comes of them."""

from __future__ import annotations

import csv
import json
import re
from html.parser import HTMLParser
from itertools import cycle
from pathlib import Path
from xml.etree import ElementTree

import pytest
from crossed import crossed
from misuse.ending import Ending, assert_ends_well, contents, run_here
from misuse.hostile_names import NAMES, ROLES, STEERING_NAMES, write_named_tank

ALL_NAMES = {**NAMES, **STEERING_NAMES}
MORE = {
    "groups": (),
    "tune": ("-o", "out/tuned"),
    "sensitivity": ("--csv", "out/cases.csv"),
    "hazard": ("--csv", "out/hazard.csv"),
}
"""Commands that follow `dose`: one after each name, and all after each where slow checks are asked for."""

EVERYTHING = [pytest.param(name, " ".join(MORE), marks=pytest.mark.slow) for name in ALL_NAMES]
PORTABLE = re.compile(r"[^\x00-\x1f<>:\"/\\|?*]{1,255}")
"""A file's name that every system takes."""

_DEVICES = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")


class _Tags(HTMLParser):
    """Every start tag with the names of its attributes, and the words beside tags."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: set[tuple[str, tuple[str, ...]]] = set()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add((tag, tuple(sorted(name for name, _ in attrs))))


def _tags(page: Path) -> set[tuple[str, tuple[str, ...]]]:
    return _Tags(page.read_text(encoding="utf-8")).tags


def _assert_only_words(folder: Path) -> None:
    """What was written has portable names, and no cell, page or figure does what a name says."""
    for path in folder.rglob("*"):
        assert PORTABLE.fullmatch(path.name), path
        assert not _DEVICES.fullmatch(path.name), path
        assert not path.name.startswith((".", "-", "~")), path
        if path.suffix == ".csv":
            with path.open(encoding="utf-8", newline="") as stream:
                for row in csv.reader(line for line in stream if not line.startswith("#")):
                    for cell in row:
                        assert not re.match(r"[=@\t\r]|[+-](?![\d.]+(e|$))", cell), (path, cell)
        elif path.suffix == ".svg":
            for element in ElementTree.parse(path).iter():
                assert not element.tag.endswith(("script", "foreignObject", "image")), path
                assert not any(name.startswith("on") for name in element.attrib), path
        elif path.suffix == ".html":
            for tag, attributes in _tags(path):
                assert tag not in {"img", "iframe", "object", "embed", "base"}, path
                assert not any(name.startswith("on") for name in attributes), (path, tag)


def _run(*words: str | Path) -> Ending:
    ending = run_here([str(word) for word in words])
    assert_ends_well(ending)
    return ending


@pytest.mark.identity
@pytest.mark.parametrize(("name", "more"), [*zip(ALL_NAMES, cycle(MORE)), *EVERYTHING])
def test_tank_of_one_hostile_name_writes_where_it_was_told(
    name: str, more: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tables, CSV and schedules of a tank in which every thing bears the name: only words, only in place."""
    tank = write_named_tank(tmp_path / "a" / "b" / "tank", dict.fromkeys(ROLES, ALL_NAMES[name]))
    monkeypatch.chdir(tank.parent)
    before = contents(tmp_path)
    told = [
        _run("dose", "tank/setup.toml", "--csv", "out/dose.csv", "--csv-schedule", "out/days"),
        *(_run(command, "tank/setup.toml", *MORE[command]) for command in more.split()),
    ]
    if name in STEERING_NAMES and told[0].code == 2:
        assert {ending.code for ending in told} == {2}
        assert contents(tmp_path) == before
        return
    assert {ending.code for ending in told} == {0}, told
    _assert_only_words(tmp_path / "a" / "b" / "out")
    kept = {key: value for key, value in contents(tmp_path).items() if not key.startswith("a/b/out")}
    assert kept == before


@pytest.mark.identity
@pytest.mark.parametrize(
    ("name", "role"),
    crossed(["colour", "right to left", "new line", "folder above", "image"], ROLES, one_in=3),
)
def test_one_hostile_name_among_plain_ones_ends_well(
    name: str, role: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A single thing with such a name: what is shown of it, if it is taken at all, steers nothing."""
    tank = write_named_tank(tmp_path / "tank", {role: ALL_NAMES[name]})
    monkeypatch.chdir(tank)
    _run("dose", "setup.toml", "--csv-schedule", "out", "--csv", "out/d.csv")
    shown = _run("dose", "setup.toml", "--json")
    if shown.code == 0:
        json.loads(shown.out)
    for words in (("check",), ("hazard",), ("groups",)):
        _run(*words, "setup.toml")
    _run("meter", "setup.toml", "120", "--site", "free")
    if (tank / "out").exists():
        _assert_only_words(tank / "out")


def _pages(folder: Path, names: dict[str, str]) -> Path:
    """What the commands with pages and figures write of a tank with such names."""
    setup = write_named_tank(folder / "in", names) / "setup.toml"
    coral = names.get("coral", "plain coral")
    out = folder / "out"
    for words in (
        ("keep", setup, "--date", "2026-01-01", "--why", coral),
        ("note", setup, "--coral", coral, "--kind", "colour", "--value", "5", "--date", "2026-01-02"),
        ("note", setup, "--coral", coral, "--kind", "colour", "--value", "2", "--date", "2026-03-01", coral),
        ("note", setup, "--sheet", "-o", out / "round"),
        ("history", setup, "--coral", coral, "--figures", out / "history", "--csv", out / "history.csv"),
        ("survey", setup, "-o", out / "survey"),
        ("report", setup, "-o", out / "report.html"),
        ("slip", setup, "-o", out / "slip.pdf", "--date", "2026-03-14", "--", coral),
        ("move", setup, "--to", "free", "--figures", out / "move", "--", coral),
    ):
        ending = _run(*words)
        assert ending.code == 0, ending
    assert {path.name for path in folder.iterdir()} == {"in", "out"}
    return out


@pytest.fixture(scope="module")
def plain_pages(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Pages and figures of the tank with plain names."""
    return _pages(tmp_path_factory.mktemp("plain"), {})


@pytest.mark.identity
@pytest.mark.parametrize(
    "name",
    [
        "image",
        "end of title",
        *(pytest.param(n, marks=pytest.mark.slow) for n in ("folder above", "mathematics")),
    ],
)
def test_pages_and_figures_of_hostile_names_hold_no_tag_but_ours(
    name: str, plain_pages: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Report, sheets, slip, diary and figures of the hostile tank have the tags of the plain one."""
    monkeypatch.chdir(tmp_path)
    odd = _pages(tmp_path, dict.fromkeys(ROLES, NAMES[name]))
    for page in ("survey/survey.html", "report.html", "round/round.html"):
        assert _tags(odd / page) <= _tags(plain_pages / page), page
    _assert_only_words(odd)
