"""What `selftest` finds: one check a line, and the versions of what computes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from lightdose.model.record import dataclass

CheckKind = Literal["published", "identity", "pinned", "installed"]
"""A number from a named source; an exact property; today's own value; what the installation must hold."""


@dataclass(frozen=True)
class SelfCheck:
    """One thing that was looked at; numbers differ by at most ``tolerance``, relative to the expected one."""

    what: str
    expected: float | str
    got: float | str
    unit: str
    tolerance: float
    kind: CheckKind
    source: str

    @property
    def passed(self) -> bool:
        """Whether what was got is what was expected; NaN never is."""
        if isinstance(self.expected, str) or isinstance(self.got, str):
            return self.expected == self.got
        return abs(self.got - self.expected) <= self.tolerance * abs(self.expected)


@dataclass(frozen=True)
class SelfTest:
    """All checks, in the order in which they were made."""

    checks: tuple[SelfCheck, ...]
    version: str
    versions: Mapping[str, str]

    @property
    def failed(self) -> tuple[SelfCheck, ...]:
        """The checks that did not pass."""
        return tuple(check for check in self.checks if not check.passed)
