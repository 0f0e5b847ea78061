"""`selftest`: what was expected, what came out, where the expectation is from."""

from __future__ import annotations

from typing import Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say
from lightdose.answers.field import Field, Sheet, as_json
from lightdose.answers.words import count
from lightdose.model.results import SelfCheck, SelfTest

TOGETHER: Final = (
    ("table", "spectra and other tables match the sums they were shipped with"),
    ("editor schema", "schemas for editors are those of the readers"),
    ("library", "libraries are there in the versions asked for"),
)
"""Checks that are told together: how their names begin, and what they show."""

# fmt: off
FIELDS: Final = (
    Field("what", "what", lambda check: check.what, kind="string"),
    Field("expected", "expected", lambda check: check.expected, kind="string"),
    Field("got", "got", lambda check: check.got, kind="string"),
    Field("unit", "unit", lambda check: check.unit or None, kind="string"),
    Field("relative_tolerance", "tolerance", lambda check: check.tolerance),
    Field("kind", "kind", lambda check: check.kind, kind="string"),
    Field("source", "source", lambda check: check.source, kind="string"),
    Field("passed", "passed", lambda check: check.passed, kind="boolean"),
)
# fmt: on


def selftest_answer(tested: SelfTest) -> Answer:
    """Files and libraries together, each number by itself, every failure in full, the verdict last."""
    installed = [check for check in tested.checks if check.kind == "installed"]
    points = []
    for word, what in TOGETHER:
        checks = [check for check in installed if check.what.startswith(f"{word} ")]
        good = sum(check.passed for check in checks)
        points.append(Point(f"{good} of {len(checks)} {what}", _word(good == len(checks))))
    points += [_point(c) for c in tested.checks if c.kind != "installed" or not c.passed]
    versions = ", ".join(f"{name} {number}" for name, number in tested.versions.items())
    total = count(len(tested.checks), "check")
    verdict = f"All {total} passed."
    if tested.failed:
        verdict = f"{len(tested.failed)} of {total} failed: install lightdose anew, and report what stays."
    return Answer(
        "selftest",
        (
            Points(tuple(points)),
            Say(f"lightdose {tested.version} on {versions}", "note"),
            Say(verdict, "verdict"),
        ),
        lambda: {
            "passed": not tested.failed,
            "checks": [as_json(FIELDS, check) for check in tested.checks],
            "versions": dict(tested.versions),
        },
        sheet=Sheet(FIELDS, tested.checks),
        failed=bool(tested.failed),
    )


def _word(passed: bool) -> str:
    return "passed" if passed else "FAILED"


def _point(check: SelfCheck) -> Point:
    unit = f" {check.unit}" if check.unit and check.unit != "sha256" else ""
    values = f"expected {_shown(check.expected)}{unit}, got {_shown(check.got)}{unit}"
    return Point(f"{check.what}: {values}", _word(check.passed), f"{check.kind}: {check.source}")


def _shown(value: float | str) -> str:
    return value or "nothing" if isinstance(value, str) else f"{value:.7g}"
