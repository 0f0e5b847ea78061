"""What lies in the working folder is data: a tank may come in a folder that a stranger sent.

Modules: started with ``-m`` or ``-c``, as processes of a pool are, the interpreter searches the working
folder first, and a ``re.py`` beside the setup would be run in place of the library's. Nothing is imported
here, or in the package's own ``__init__``, that the interpreter has not loaded for its own start.

Settings: matplotlib reads a ``matplotlibrc`` there before any of the user's own, and cannot load where its
letters cannot be read.
"""

import os
import sys


def safe_path(entries: list[str]) -> list[str]:
    """The search path without the working folder in its lead, and without the entry that stands for it.

    The folder that holds this very package stays: a checkout from which it is run.
    """
    here, home = _working_folder(), os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
    return [
        entry
        for place, entry in enumerate(entries)
        if (entry or here) == home or (entry and (place > 0 or entry != here))
    ]


def starts_can_be_safe() -> bool:
    """Whether a process that this one starts can be told to leave the working folder out.

    Started with ``-E``, Python hands that on, and its children do not look at ``PYTHONSAFEPATH``.
    """
    return bool(sys.flags.safe_path) or not sys.flags.ignore_environment


def pass_settings_by() -> None:
    """Where a ``matplotlibrc`` lies in the working folder, load matplotlib now, from its own folder.

    Later would be too late: colour-science loads it too.
    """
    if not os.path.exists("matplotlibrc"):
        return
    from importlib.util import find_spec

    spec, here = find_spec("matplotlib"), os.getcwd()
    if spec is None or spec.origin is None:
        return
    os.chdir(os.path.dirname(spec.origin))
    try:
        import matplotlib  # noqa: F401 - it reads its settings once
    finally:
        os.chdir(here)


def _working_folder() -> str | None:
    try:
        return os.getcwd()
    except OSError:  # it is gone
        return None
