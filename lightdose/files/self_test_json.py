"""The self-test as one versioned JSON object."""

from __future__ import annotations

from typing import Any

from lightdose.model.self_test import SelfTest

FORMAT = "lightdose-selftest/1"


def self_test_json(found: SelfTest) -> dict[str, Any]:
    """Every check with what was expected and got."""
    return {
        "format": FORMAT,
        "passed": not found.failed,
        "checks": [
            {
                "what": check.what,
                "expected": check.expected,
                "got": check.got if check.got == check.got else None,
                "unit": check.unit or None,
                "relative_tolerance": check.tolerance,
                "kind": check.kind,
                "source": check.source,
                "passed": check.passed,
            }
            for check in found.checks
        ],
        "provenance": {"version": found.version, "versions": dict(found.versions)},
    }
