"""Work for processes that share tasks: a fresh process finds it by its name."""

from __future__ import annotations

import os
import time

FATAL = 13


def squared_unless_fatal(task: int) -> int:
    """The square, for some tasks after a while; one task ends its process."""
    if task == FATAL:
        os._exit(9)
    time.sleep(0.02 * (task % 3))
    return task * task


def minus_one(task: int) -> int:
    """Stands in for a task that was lost."""
    assert task == FATAL
    return -1


def figures_line_width(task: int) -> float:
    """How wide lines are by the settings that the plotting library has loaded. [pt]"""
    import matplotlib as mpl

    return float(mpl.rcParams["lines.linewidth"])
