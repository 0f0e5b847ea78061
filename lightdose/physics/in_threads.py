"""Work shared by two threads: numpy computes outside the interpreter's lock."""

from __future__ import annotations

import threading
from collections.abc import Callable

THREADS = 2
"""Blocks of points at once; by measurement on two cores."""


def in_threads(task: Callable[[int], None], count: int, threads: int = THREADS) -> None:
    """Do a task for each number below a count; each thread, this one among them, takes the next in turn.

    Parameters
    ----------
    task : callable
        Takes the number. The first that fails ends all, and its exception comes out here.
    count : int
    threads : int
    """
    left, failed = iter(range(count)), list[BaseException]()

    def work() -> None:
        try:
            for number in left:
                task(number)
        except BaseException as error:
            failed.append(error)
            for _ in left:
                pass

    others = [threading.Thread(target=work) for _ in range(min(threads, count) - 1)]
    for other in others:
        other.start()
    work()
    for other in others:
        other.join()
    if failed:
        raise failed[0]
