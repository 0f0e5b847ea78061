"""The desk attacked: requests drawn from a seed, most of them of the page's own form with a value gone wrong.

Nothing may end with 500, write outside the setup's folder, hold memory, or bring a number that is none.
"""

from __future__ import annotations

import json
import re
import shutil
import sys
import time
from collections import Counter
from pathlib import Path
from random import Random
from typing import Any

from desk.served import Client, served
from misuse.ending import contents
from misuse.structured import LENGTHS, NUMBERS, WORDS

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PATHS = (
    "../outside/mine.csv",
    "/etc/passwd",
    "../../x.csv",
    "setup.toml",
    "schedules/../../outside/mine.csv",
    "corals.csv",
    "/dev/zero",
    "C:\\x.csv",
    "new.csv",
    ".lightdose-x",
    "diary/states.csv",
)
THINGS = (
    "coral",
    "site",
    "rack",
    "rock",
    "brace",
    "fixture",
    "channel",
    "tank",
    "water",
    "meter",
    "setup",
    "cover",
    "uncertainty",
    "electricity",
)
GROWTH_MB = 150
"""More memory than after the first fifth is a leak. Our choice."""


def _names(draw: Random) -> str:
    return draw.choice(
        (
            "ridge",
            "shelf",
            "ledge",
            "A1",
            "A",
            "left",
            "right",
            "open brain",
            "blue tip",
            "shelter",
            "demo",
            *WORDS,
        )
    )


def _value(draw: Random) -> Any:
    """What may stand where the page puts a text or a number."""
    return draw.choice(
        (
            draw.choice(NUMBERS),
            draw.choice(LENGTHS),
            draw.choice(WORDS),
            draw.choice(PATHS),
            _names(draw),
            draw.uniform(-1, 1),
            draw.choice((0, 1, -1, 10**6, 1e300, -1e300, 10**400)),
            True,
            None,
            [],
            {},
            [1, 2],
            {"name": "x"},
            "x" * 5000,
            "\x1b[31m",
            "a\nb",
            "\u202e",
            "[[site]]",
            '"""',
            "# x",
            "\ud800",
        )
    )


def _metres(draw: Random) -> Any:
    return draw.uniform(0, 0.6) if draw.random() < 0.7 else _value(draw)


def _change(draw: Random, keys: list[str]) -> dict[str, Any]:
    """One change, by the forms that the page sends."""
    spot = {key: _metres(draw) for key in ("x_m", "y_m", "depth_m")}
    forms: list[dict[str, Any]] = [
        {
            "do": "put",
            "kind": draw.choice(("coral", "site", "lamp", "fixture", "rock")),
            "name": _names(draw),
            **spot,
            "height_m": _metres(draw),
        },
        {"do": "seat", "name": _names(draw), "site": _names(draw)},
        {
            "do": "set",
            "table": draw.choice(THINGS),
            "name": _names(draw),
            "of": _names(draw),
            "key": draw.choice(keys),
            "text": _value(draw),
        },
        {
            "do": "add",
            "table": draw.choice(THINGS),
            "values": {draw.choice(keys): _value(draw) for _ in range(3)} | {"name": _names(draw)},
        },
        {"do": "drop", "table": draw.choice(THINGS), "name": _names(draw)},
        {
            "do": "names",
            "corals": [
                {"name": _names(draw), "group": draw.choice(("clam", "zoanthid", "x"))}
                for _ in range(draw.choice((0, 1, 3)))
            ],
        },
        {
            "do": "line",
            "file": draw.choice(("setup.toml", *PATHS)),
            "line": draw.choice((1, 3, 0, -1, 10**9, "1", None)),
            "text": _value(draw),
        },
        {
            "do": "level",
            "fixture": draw.choice(("left", "right", "x")),
            "column": draw.choice(("time", "blue 445", "all_channels", "white")),
            "channel": "blue 445",
            "row": draw.choice((0, 1, 5, -1, 10**9, "0")),
            "text": _value(draw),
        },
        {
            "do": "row",
            "fixture": draw.choice(("left", "right")),
            "time": draw.choice(("12:00", "25:00", "02:00+1", "")),
            "before": draw.choice((0, 1, -5, 10**9, None)),
        },
        {
            "do": "no-row",
            "fixture": draw.choice(("left", "right")),
            "row": draw.choice((0, 1, -1, 10**9, "1")),
        },
        {
            "do": "overall",
            "percent": draw.choice((50, 0, -1, 1e9, "50", None, 1e400)),
            "fixtures": draw.choice(([], ["left"], ["x"], "left", None)),
        },
        {
            "do": "hours",
            "longer_h": draw.choice((1, -1, 0, 24, -24, 1e9, "1", 1e-300)),
            "fixtures": draw.choice(([], ["left"])),
        },
        {
            "do": "reading",
            "reading": _value(draw),
            "unit": draw.choice(("umol_m2_s", "lux", "x")),
            "time": "12:00",
            "meter": draw.choice(("handheld", "x", "")),
            "note": _value(draw),
            "site": draw.choice(("ridge", "x", "")),
            **spot,
        },
        {
            "do": "reading-cell",
            "row": draw.choice((0, 1, -1, 10**9)),
            "column": draw.choice(("reading", "unit", "note", "x")),
            "text": _value(draw),
        },
        {"do": "no-reading", "row": draw.choice((0, -1, 10**9, None))},
        {
            "do": "calibration",
            "calibration": draw.choice(("", "x = 1", 'format = "lightdose-calibration/1"')),
        },
        {
            "do": "begin",
            "title": _value(draw),
            "walls": _value(draw),
            "corals": _value(draw),
            "lamps": _value(draw),
        },
    ]
    change = draw.choice(forms)
    if draw.random() < 0.15:
        change[draw.choice(list(change))] = _value(draw)
    if draw.random() < 0.05:
        del change[draw.choice(list(change))]
    if draw.random() < 0.05:
        change = {"do": "several", "changes": [change, draw.choice(forms)], "words": _value(draw)}
    return change


def request(draw: Random, keys: list[str]) -> tuple[str, Any]:
    """A question to the desk by its name, and what it says."""
    spot = {key: _metres(draw) for key in ("x_m", "y_m", "depth_m")}
    turn = draw.random()
    if turn < 0.6:
        return "do", {"change": _change(draw, keys)}
    if turn < 0.7:
        return draw.choice(("undo", "redo", "undo")), {}
    asked: dict[str, Any] = draw.choice(
        (
            {"try": {"name": _names(draw), **spot}},
            {"spot": spot},
            {"level": {"kind": draw.choice(("depth", "from_front", "x")), "at_m": _metres(draw)}},
            {"form": {"table": draw.choice(THINGS), "name": _names(draw), "of": _names(draw)}},
            {"files": {}},
            {"programmes": {}},
            {"names": {"text": _value(draw)}},
            {"readings": {}},
            {"state": {}},
            {"pending": {}},
            {"diary": {}},
            {"life": {"coral": _names(draw)}},
            {"alive": {}},
            {"theirs": {}},
            {"draft": {"take": _value(draw)}},
            {
                "note": {
                    "coral": _names(draw),
                    "kind": draw.choice(("colour", "polyps", "free", "x")),
                    "value": _value(draw),
                    "remark": _value(draw),
                }
            },
            {"save": {"why": _value(draw)}},
            {"mine": {}},
            {"sure": {"version": draw.choice((0, 1, None, "x"))}},
            {draw.choice(("__class__", "close", "", "x" * 500, "state/../do")): {}},
        )
    )
    name = next(iter(asked))
    return name, asked[name] if draw.random() < 0.95 else _value(draw)


def _body(asked: Any, draw: Random) -> bytes:
    """Its JSON, seldom cut off, doubled, nested too deep, or with a number that is none."""
    text = json.dumps(asked).encode()
    turn = draw.random()
    if turn < 0.93:
        return text
    return draw.choice(
        (
            text[: len(text) // 2],
            text * 2,
            b"[" * 50_000,
            b'{"x": NaN}',
            b'{"change": 1e999}',
            b"\xff" + text,
            b"",
        )
    )


def _memory_mb() -> float:
    found = re.search(r"VmRSS:\s+(\d+)", Path("/proc/self/status").read_text(encoding="ascii"))
    return int(found[1]) / 1000 if found else 0.0


def field_keys() -> list[str]:
    """Every key that a field of the page may name."""
    from lightdose.desk import keys

    found = {path for table in THINGS for path in _paths_of(keys, table)}
    return sorted(found) or ["name"]


def _paths_of(keys: Any, table: str) -> list[str]:
    try:
        return [field.path for field in keys.fields_of(table)]
    except Exception:  # not every thing has fields
        return []


def attack(seed: int, count: int, folder: Path) -> int:
    """Send so many requests to a desk on a copy of the first tank; print what came, 1 where it is wrong."""
    tank, outside = folder / "tank", folder / "outside"
    shutil.copytree(EXAMPLES / "first-tank", tank)
    outside.mkdir()
    (outside / "mine.csv").write_text("site,x_cm,y_cm,depth_cm\nmine,1,1,1\n", encoding="utf-8")
    before = contents(outside)
    draw, statuses, wrong = Random(seed), Counter[str](), []
    keys, start, settled_mb, slowest = field_keys(), time.monotonic(), 0.0, (0.0, "")
    with served(tank / "setup.toml") as server:
        client = Client(server)
        for n in range(count):
            name, asked = request(draw, keys)
            body, begun = _body(asked, draw), time.monotonic()
            try:
                status, answer, _ = client.send("POST", f"/ask/{name}", body)
            except OSError as trouble:
                wrong.append(f"{n} {name}: {trouble}")
                continue
            took = time.monotonic() - begun
            slowest = max(slowest, (took, f"{name} {body[:200]!r}"))
            statuses[f"{name if status != 404 else 'other'} {status}"] += 1
            text = answer.decode("utf-8", "replace")
            if status >= 500 or re.search(r'(?<![\w"-])(?:NaN|-?Infinity)(?![\w"])', text):
                wrong.append(f"{n} {name} {body[:300]!r} -> {status} {text[:600]}")
            if n == count // 5:
                settled_mb = _memory_mb()
            if n % 200 == 199:  # a tank that was spoilt beyond use is begun anew
                client.send("POST", "/ask/theirs", b"{}")
    grown_mb = _memory_mb() - settled_mb
    if contents(outside) != before or {p.name for p in folder.iterdir()} != {"tank", "outside"}:
        wrong.append("something was written outside the folder")
    if grown_mb > GROWTH_MB:
        wrong.append(f"{grown_mb:.0f} MB more than after the first fifth")
    for words, times in sorted(statuses.items()):
        print(f"{times:>7}  {words}")
    print(f"slowest {slowest[0]:.1f} s: {slowest[1]}")
    print("\n".join(wrong[:40]))
    print(
        f"{count} requests, {len(wrong)} wrong, {grown_mb:+.0f} MB, "
        f"{time.monotonic() - start:.0f} s, seed {seed}"
    )
    shutil.rmtree(folder)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit("run python tests/misuse --desk 10000")
