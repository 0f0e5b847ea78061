"""What in README.md is printed by the program: sessions, tables of keys, quantities, bands and commands.

`python tests/readme.py` writes them anew; tests/test_docs.py holds the README equal to this.

A session is a ```console block: each line that begins with `$ ` is run on a terminal of 100 columns in an
empty folder, the same for the whole README; a line `...` stands for what is left out between the lines
before it and the lines after it. Tables stand between `<!-- name -->` and `<!-- end of name -->`.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from lightdose.cli import SUMMARIES
from lightdose.files import fixture_schema, setup_schema
from lightdose.files.groups_file import own_group_table
from lightdose.files.toml_tables import REQUIRED, Key, Table
from lightdose.files.units import format_length
from lightdose.quantities import BANDS, QUANTITIES

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
EXAMPLES = ROOT / "examples" / "README.md"
COLUMNS = 100


def on_a_terminal(command: str, folder: Path) -> str:
    """What a person sees: the command on a pseudo-terminal, without colour."""
    import pty

    words = shlex.split(command)
    if words[0] != "lightdose":
        raise ValueError(f"sessions run lightdose only: {command}")
    pid, fd = pty.fork()
    if pid == 0:
        os.chdir(folder)
        os.environ.update(
            COLUMNS=str(COLUMNS), LINES="60", NO_COLOR="1", TERM="xterm", PYTHONIOENCODING="utf-8"
        )
        os.execv(sys.executable, [sys.executable, "-m", "lightdose", *words[1:]])
    seen = b""
    while True:
        try:
            chunk = os.read(fd, 65536)
        except OSError:
            break
        if not chunk:
            break
        seen += chunk
    os.close(fd)
    os.waitpid(pid, 0)
    return "\n".join(line.rstrip() for line in seen.decode("utf-8").replace("\r\n", "\n").splitlines())


def fresh_session(block: str, folder: Path) -> str:
    """A console block with the output of its commands printed anew, cut where the old one was cut."""
    fresh = []
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        command, _, shown = part.partition("\n")
        printed = on_a_terminal(command, folder).splitlines()
        old = shown.rstrip("\n").splitlines()
        if "..." in old:
            cut = old.index("...")
            after = len(old) - cut - 1
            printed = [*printed[:cut], "...", *(printed[-after:] if after else [])]
        fresh.append("\n".join([f"$ {command}", *printed]) + "\n")
    return "".join(fresh)


def keys_table(tables: Mapping[str, Table]) -> str:
    """Every key of a file with an example, its default and its meaning."""
    lines = ["| key | example | default | meaning |", "|---|---|---|---|"]
    for table_name, table in tables.items():
        for name, key in table.keys.items():
            full = f"{table_name}.{name}" if table_name else name
            default = _default(key)
            example = key.example.replace("|", "\\|")
            lines.append(f"| `{full}` | `{example}` | {default} | {key.meaning.replace('|', '/')} |")
    return "\n".join(lines)


def _default(key: Key) -> str:
    """A default as it would be typed in the file."""
    if key.default is REQUIRED:
        return "required"
    if key.default is None:
        return "-"
    if key.kind.allowed.startswith("a length"):
        return f'`"{format_length(key.default, "cm")}"`'
    if isinstance(key.default, bool):
        return f"`{str(key.default).lower()}`"
    return f"`{getattr(key.default, 'kind', key.default)}`"


def quantities_table() -> str:
    """The quantities that lightdose reports."""
    rows = [f"| {q.symbol} | {q.unit} | {q.definition} | {q.source} |" for q in QUANTITIES]
    return "\n".join(["| quantity | unit | what it is | source |", "|---|---|---|---|", *rows])


def bands_table() -> str:
    """The colour bands with their edges."""
    rows = [f"| {b.name} | {b.low_nm:g}-{b.high_nm:g} nm | {b.source} |" for b in BANDS]
    return "\n".join(["| band | from-to | source |", "|---|---|---|", *rows])


def commands_table() -> str:
    """The commands with what they do."""
    rows = [f"| `lightdose {name}` | {summary} |" for name, summary in SUMMARIES.items()]
    return "\n".join(["| command | what it does |", "|---|---|", *rows])


TABLES: Mapping[str, Callable[[], str]] = {
    "commands": commands_table,
    "quantities": quantities_table,
    "bands": bands_table,
    "keys of setup.toml": lambda: keys_table({"": setup_schema.SETUP, **setup_schema.TABLES}),
    "keys of fixture.toml": lambda: keys_table({"": fixture_schema.FIXTURE_FILE, **fixture_schema.TABLES}),
    "keys of my-groups.toml": lambda: keys_table({"group.KEY": own_group_table()}),
}


def refreshed(text: str, folder: Path) -> str:
    """README text with every session and table printed anew; sessions run in ``folder``."""
    for name, table in TABLES.items():
        start, end = f"<!-- {name} -->\n", f"<!-- end of {name} -->"
        if text.count(start) != 1 or text.count(end) != 1:
            raise ValueError(f"README.md needs one table between {start.strip()} and {end.strip()}")
        text = text[: text.index(start) + len(start)] + table() + "\n" + text[text.index(end) :]
    return with_sessions(text, folder)


def with_sessions(text: str, folder: Path) -> str:
    """A text with every session printed anew, run in order in ``folder``."""
    return re.sub(
        r"^```console\n(.*?)^```",
        lambda match: f"```console\n{fresh_session(match[1], folder)}```",
        text,
        flags=re.MULTILINE | re.DOTALL,
    )


def examples_refreshed(folder: Path) -> str:
    """examples/README.md with its sessions run in a copy of examples/ that is made below ``folder``."""
    copy = shutil.copytree(EXAMPLES.parent, folder / "examples")
    return with_sessions(EXAMPLES.read_text(encoding="utf-8"), copy)


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as empty:
        README.write_text(refreshed(README.read_text(encoding="utf-8"), Path(empty)), encoding="utf-8")
    with tempfile.TemporaryDirectory() as empty:
        EXAMPLES.write_text(examples_refreshed(Path(empty)), encoding="utf-8")
