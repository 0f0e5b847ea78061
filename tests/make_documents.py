"""What the program prints into the documents: sessions, and tables of keys, quantities, commands and limits.

`python tests/make_documents.py` writes them anew into README.md, examples/README.md and the pages of the
guide, and draws README's pictures; tests/test_docs.py and tests/test_examples.py hold the documents equal to
this.

A session is a ```console block: each line that begins with `$ ` is run on a terminal in an empty folder, the
same for the whole document; a line `...` stands for what is left out between the paragraphs before it and
those after it. Tables stand between `<!-- name -->` and `<!-- end of name -->`; `document_tables.py` makes
them.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from document_tables import TABLES

from lightdose.cli.init import example_folder
from lightdose.guide import TOPICS

ROOT = Path(__file__).resolve().parents[1]
README = ROOT / "README.md"
EXAMPLES = ROOT / "examples" / "README.md"
GUIDE = ROOT / "lightdose" / "guide"
DOCUMENTS = [README, EXAMPLES, *(GUIDE / f"{topic}.md" for topic in TOPICS)]
PICTURES = EXAMPLES.parent / "pictures"
DRAWN = {
    "first-tank-corals.png": ("doses.png", "dose SETUP --figures FOLDER"),
    "first-tank-tank.png": ("tank.png", "dose SETUP --figures FOLDER"),
    "first-tank-map.png": (
        "map-depth-14-cm.png",
        'map SETUP --depth "14 cm" --group sps-plating --group lps-branching --group mushroom -o FOLDER',
    ),
}
"""The pictures of README: the figure that each is, and the command that draws it."""

COLUMNS = 100
COLUMNS_OF_GUIDE = 76
"""Narrower by the margin that the guide puts before it on a terminal of 80."""


def on_a_terminal(command: str, folder: Path, columns: int) -> str:
    """What a person sees: the command on a pseudo-terminal, without colour."""
    import pty

    words = shlex.split(command)
    if words[0] != "lightdose":
        raise ValueError(f"sessions run lightdose only: {command}")
    pid, fd = pty.fork()
    if pid == 0:
        os.chdir(folder)
        os.environ.update(
            COLUMNS=str(columns), LINES="60", NO_COLOR="1", TERM="xterm", PYTHONIOENCODING="utf-8"
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


def fresh_session(block: str, folder: Path, columns: int) -> str:
    """A console block with the output of its commands printed anew, cut where the old one was cut."""
    fresh = []
    for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
        command, _, shown = part.partition("\n")
        printed = paragraphs(on_a_terminal(command, folder, columns))
        before, cut, after = f"\n{shown}".partition("\n...\n")
        if cut:
            first, last = len(paragraphs(before)), len(paragraphs(after))
            kept = [
                *(["\n\n".join(printed[:first])] if first else []),
                "...",
                *printed[len(printed) - last :],
            ]
            fresh.append("\n".join([f"$ {command}", *kept]) + "\n")
        else:
            fresh.append("\n".join([f"$ {command}", "\n\n".join(printed)]) + "\n")
    return "".join(fresh)


def paragraphs(text: str) -> list[str]:
    """What stands between blank lines."""
    return [part for part in re.split(r"\n(?:[ ]*\n)+", text.strip("\n")) if part]


def with_sessions(text: str, folder: Path, columns: int = COLUMNS) -> str:
    """A text with every session printed anew, run in order in ``folder``."""
    return re.sub(
        r"^```console\n(.*?)^```",
        lambda match: f"```console\n{fresh_session(match[1], folder, columns)}```",
        text,
        flags=re.MULTILINE | re.DOTALL,
    )


def with_tables(text: str) -> str:
    """A text with every table printed anew."""
    return re.sub(
        r"^<!-- (.+) -->\n.*?^<!-- end of \1 -->",
        lambda match: f"<!-- {match[1]} -->\n\n{TABLES[match[1]]()}\n\n<!-- end of {match[1]} -->",
        text,
        flags=re.MULTILINE | re.DOTALL,
    )


def refreshed(document: Path, folder: Path) -> str:
    """A document as it should be; its sessions run below ``folder``, which is empty.

    The examples run in a copy of their folder. A page of the guide finds the tank of the first steps,
    my-tank, in its folder.
    """
    text = with_tables(document.read_text(encoding="utf-8"))
    if document == EXAMPLES:
        return with_sessions(text, shutil.copytree(EXAMPLES.parent, folder / "examples"))
    if document == README:
        return with_sessions(text, folder)
    if "```console" in text and document.stem != "start":
        shutil.copytree(example_folder(), folder / "my-tank")
    return with_sessions(text, folder, COLUMNS_OF_GUIDE)


def draw(picture: str, folder: Path) -> None:
    """Draw a picture of README anew; no test holds its bytes, which follow the version of matplotlib."""
    figure, command = DRAWN[picture]
    places = {"SETUP": str(example_folder() / "setup.toml"), "FOLDER": str(folder)}
    words = [places.get(word, word) for word in shlex.split(command)]
    subprocess.run([sys.executable, "-m", "lightdose", *words, "--quiet"], check=True, capture_output=True)
    shutil.copyfile(folder / figure, PICTURES / picture)


def asked(words: Sequence[str]) -> list[Path]:
    """The documents and pictures that are named, by bare name (README.md: both) or by path; all for none."""
    every = [*DOCUMENTS, *(PICTURES / name for name in DRAWN)]
    unknown = [word for word in words if not any(names(word, path) for path in every)]
    if unknown:
        known = ", ".join(str(path.relative_to(ROOT)) for path in every)
        raise SystemExit(f"no document: {', '.join(unknown)}. The documents are {known}")
    return [path for path in every if not words or any(names(word, path) for word in words)]


def names(word: str, path: Path) -> bool:
    """Whether a word of the command line means a document."""
    return word == path.name or Path(word).resolve() == path.resolve()


def main() -> None:
    """Write the documents and pictures that are named by their file, such as start.md, or all."""
    for path in asked(sys.argv[1:]):
        with tempfile.TemporaryDirectory() as empty:
            if path.name in DRAWN:
                draw(path.name, Path(empty))
            else:
                path.write_text(refreshed(path, Path(empty)), encoding="utf-8")


if __name__ == "__main__":
    main()
