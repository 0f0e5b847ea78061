"""The self-test as lines: what was expected, what came out, where the expectation is from."""

from __future__ import annotations

from collections.abc import Iterator

from lightdose.model.self_test import SelfCheck, SelfTest
from lightdose.present.labels import count


def self_test_lines(found: SelfTest) -> Iterator[str]:
    """Files and libraries together, each number by itself, every failure in full, the verdict last."""
    installed = [check for check in found.checks if check.kind == "installed"]
    for word, what in (
        ("table", "spectra and other tables match the sums they were shipped with"),
        ("editor schema", "schemas for editors are those of the readers"),
        ("library", "libraries are there in the versions asked for"),
    ):
        checks = [check for check in installed if check.what.startswith(f"{word} ")]
        good = sum(check.passed for check in checks)
        yield f"{'passed' if good == len(checks) else 'FAILED'}  {good} of {len(checks)} {what}"
    for check in found.checks:
        if check.kind != "installed" or not check.passed:
            yield _line(check)
    versions = ", ".join(f"{name} {number}" for name, number in found.versions.items())
    yield f"lightdose {found.version} on {versions}"
    total = count(len(found.checks), "check")
    if found.failed:
        yield f"{len(found.failed)} of {total} failed: install lightdose anew, and report what stays"
    else:
        yield f"all {total} passed"


def _line(check: SelfCheck) -> str:
    unit = f" {check.unit}" if check.unit and check.unit != "sha256" else ""
    values = f"expected {_shown(check.expected)}{unit}, got {_shown(check.got)}{unit}"
    return f"{'passed' if check.passed else 'FAILED'}  {check.what}: {values} ({check.kind}: {check.source})"


def _shown(value: float | str) -> str:
    return value or "nothing" if isinstance(value, str) else f"{value:.7g}"
