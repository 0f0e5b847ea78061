"""Processes that share a list of tasks; results come in the order of the tasks.

A pool of the standard library either loses the task of a process that dies and waits for ever, or gives up
all others. Here every process has a pipe of its own: its end is seen at once, its task is told as lost, and
another process takes its place.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from typing import Generic, TypeVar

from lightdose.working_folder import pass_settings_by, safe_path, starts_can_be_safe

TASK = TypeVar("TASK")
RESULT = TypeVar("RESULT")

AHEAD = 4
"""Tasks for each process that may be given out or wait for an earlier one: bounds the memory; our choice."""


SAFE = "PYTHONSAFEPATH"


def cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def in_order(
    function: Callable[[TASK], RESULT], tasks: Sequence[TASK], jobs: int, lost: Callable[[TASK], RESULT]
) -> Generator[RESULT, None, None]:
    """``function(task)`` for every task, on ``jobs`` processes; one job stays in this process.

    All stay here as well where Python was started so that no process can be kept off the working folder's
    modules.

    ``function`` is found by its name in a fresh process and raises nothing. ``lost`` stands in for it where a
    process ends in the middle of a task. Closing the iterator ends all processes.
    """
    if jobs == 1 or not starts_can_be_safe():
        yield from map(function, tasks)
        return
    workers: list[_Worker[TASK, RESULT]] = []
    done: dict[int, RESULT] = {}
    given = asked = 0
    try:
        while asked < len(tasks):
            while given < min(len(tasks), asked + AHEAD * jobs):
                worker = next((w for w in workers if w.task is None), None)
                if worker is None:
                    if len(workers) == jobs:
                        break
                    worker = _Worker(function)
                    workers.append(worker)
                worker.give(given, tasks[given])
                given += 1
            for worker in _finished(workers):
                index = worker.task
                assert index is not None
                try:
                    done[index] = worker.result()
                except (EOFError, OSError):
                    done[index] = lost(tasks[index])
                    worker.end()
                    workers.remove(worker)
            while asked in done:
                yield done.pop(asked)
                asked += 1
    finally:
        for worker in workers:
            worker.end()


def _finished(workers: list[_Worker[TASK, RESULT]]) -> list[_Worker[TASK, RESULT]]:
    """Those with an answer, once there is one."""
    ready = set(wait([w.pipe for w in workers if w.task is not None and not w.pipe.closed]))
    return [w for w in workers if w.task is not None and (w.pipe in ready or w.pipe.closed)]


class _Worker(Generic[TASK, RESULT]):
    """A process and the task that it has."""

    def __init__(self, function: Callable[[TASK], RESULT]) -> None:
        # A fresh interpreter on every system: a copy of this one could hold locks of numpy's threads.
        context = get_context("spawn")
        self.pipe, theirs = context.Pipe()
        self.process = context.Process(target=_serve, args=(theirs, function), daemon=True)
        with _interrupts_held(), _off_the_working_folder():
            self.process.start()
        theirs.close()
        self.task: int | None = None

    def give(self, index: int, task: TASK) -> None:
        """Hand over a task; where the process has ended already, its result says so."""
        self.task = index
        try:
            self.pipe.send(task)
        except OSError:
            self.pipe.close()

    def result(self) -> RESULT:
        """The result of its task; EOFError or OSError where the process has ended."""
        answer: RESULT = self.pipe.recv()
        self.task = None
        return answer

    def end(self) -> None:
        """Stop at once; its unfinished work is dropped."""
        self.process.terminate()
        self.process.join()
        self.pipe.close()


@contextmanager
def _interrupts_held() -> Iterator[None]:
    """Ctrl-C waits, and never reaches the process that starts meanwhile: only this one answers to it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _off_the_working_folder() -> Iterator[None]:
    """A process that starts meanwhile, one that tracks resources too, takes no module from there."""
    environment, path = os.environ.get(SAFE), sys.path[:]
    os.environ[SAFE] = "1"
    sys.path[:] = safe_path(path)
    try:
        yield
    finally:
        sys.path[:] = path
        if environment is None:
            del os.environ[SAFE]
        else:
            os.environ[SAFE] = environment


def _serve(pipe: Connection, function: Callable[[TASK], RESULT]) -> None:
    """Answer tasks until the other end is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    pass_settings_by()
    while True:
        try:
            task = pipe.recv()
        except (EOFError, OSError):
            return
        answer = function(task)
        try:
            pipe.send(answer)
        except OSError:
            return
