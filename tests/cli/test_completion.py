"""`lightdose completion`: what TAB offers, in a real bash and by the protocol of the other shells."""

from __future__ import annotations

import json
import os
import re
import select
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner

from lightdose.cli import COMPLETES, SUMMARIES, cli
from lightdose.cli.completion import INSTALL, _PowerShell

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SITES = ["ridge", "shelf", "slope", "sand front", "sand left", "ledge", "A1", "A2", "A3", "B1", "B2", "B3"]


@pytest.fixture
def shell_env(tmp_path: Path) -> dict[str, str]:
    """An environment in which `lightdose` is this checkout."""
    script = tmp_path / "bin" / "lightdose"
    script.parent.mkdir()
    script.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m lightdose "$@"\n', encoding="utf-8")
    script.chmod(0o755)
    path = f"{script.parent}{os.pathsep}{os.environ['PATH']}"
    return {**os.environ, "PATH": path, "PYTHONPATH": str(EXAMPLES.parent), "TERM": "dumb"}


def offered(line: str, shell: str = "zsh", cword: int | None = None) -> list[list[str]]:
    """Type, value and help of each completion that a script of ``shell`` gets for a line."""
    words = line.split(" ")
    env = {COMPLETES: f"{shell}_complete", "COMP_WORDS": line}
    env["COMP_CWORD"] = str(len(words) - 1 if cword is None else cword)
    done = CliRunner().invoke(cli, [], env=env, prog_name="lightdose")
    assert done.exit_code == 0
    lines = done.output.rstrip("\n").splitlines()
    return [lines[n : n + 3] for n in range(0, len(lines), 3)]


def values(line: str) -> list[str]:
    return [value for _, value, _ in offered(line)]


@pytest.mark.identity
def test_commands_complete_with_their_summaries() -> None:
    """All commands after nothing, one after its first letters, none after a typo."""
    assert [[v, h] for _, v, h in offered("lightdose ")] == [[n, s] for n, s in SUMMARIES.items()]
    assert values("lightdose sens") == ["sensitivity"]
    assert values("lightdose dsoe ") == list(SUMMARIES)


@pytest.mark.identity
@pytest.mark.parametrize("name", SUMMARIES)
def test_options_of_every_command_complete(name: str) -> None:
    """Every long option of a command is offered after two dashes."""
    import click

    command = cli.get_command(click.Context(cli), name)
    assert command is not None
    options = {o for p in command.params for o in p.opts if o.startswith("--") and not p.hidden}  # type: ignore[attr-defined]
    assert options <= set(values(f"lightdose {name} --"))


@pytest.mark.identity
@pytest.mark.parametrize(
    ("line", "kind"),
    [
        ("dose ", "file"), ("dose x.toml --schedule ", "file"), ("calibrate x.toml ", "file"),
        ("dose x.toml --figures ", "dir"), ("init ", "dir"), ("spectrum ", "file"),
        ("tune x.toml -o ", "file"),
    ],
)  # fmt: skip
def test_files_and_folders_are_left_to_the_shell(line: str, kind: str) -> None:
    """Where a file or folder belongs, the shell is told to complete one."""
    assert [t for t, _, _ in offered(f"lightdose {line}")] == [kind]


@pytest.mark.identity
def test_choices_and_names_of_the_setup_complete() -> None:
    """Choices of an option; sites with racks, corals, meters and groups of the setup on the line."""
    setup = EXAMPLES / "first-tank"
    assert values(f"lightdose dose {setup} --csv-dialect e") == ["excel-eu"]
    assert values(f"lightdose dose {setup}/setup.toml --site ") == SITES
    assert values(f"lightdose move {setup} op") == ["open brain"]
    assert values(f"lightdose meter {setup} 100 --meter ") == ["handheld"]
    assert values(f"lightdose place {setup} --pin brain=B") == ["brain=B1", "brain=B2", "brain=B3"]
    assert "sps-shallow" in values(f"lightdose map {setup} --group sps-")
    assert "staghorn" in values(f"lightdose map {setup} --group stag")
    assert values("lightdose groups Symph") == ["Symphyllia", "Symph"]


@pytest.mark.identity
@pytest.mark.parametrize("text", ["", "[[site]]\nname = 3", "site = 1", "[[rack]]\nrows = 1", "not toml"])
def test_setup_that_cannot_be_read_completes_to_nothing(text: str, tmp_path: Path) -> None:
    """TAB never prints a message: a broken or missing setup has no names."""
    setup = tmp_path / "setup.toml"
    setup.write_text(text, encoding="utf-8")
    assert values(f"lightdose dose {setup} --site ") == []
    assert values(f"lightdose dose {tmp_path / 'missing.toml'} --site ") == []


@pytest.mark.identity
def test_completing_loads_click_alone() -> None:
    """TAB costs a bare click: neither numpy nor pydantic is loaded."""
    code = (
        "import sys; from lightdose.cli import cli\n"
        "try: cli.main([], prog_name='lightdose')\n"
        "except SystemExit: pass\n"
        "print({'numpy', 'pydantic', 'pydantic_core', 'rich'} & set(sys.modules), file=sys.stderr)"
    )
    line = f"lightdose move {EXAMPLES / 'first-tank'} op"
    env = {**os.environ, COMPLETES: "bash_complete", "COMP_WORDS": line, "COMP_CWORD": "3"}
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    assert (done.stdout.strip(), done.stderr.strip()) == ("plain,open\\\\ brain", "set()")


@pytest.mark.identity
@pytest.mark.parametrize("shell", INSTALL)
def test_script_is_printed_alone_and_its_place_told_on_stderr(shell: str) -> None:
    """stdout is the script that calls us back; where it goes is a message."""
    done = CliRunner().invoke(cli, ["completion", shell])
    assert done.exit_code == 0
    assert f"{shell}_complete" in done.stdout
    assert COMPLETES in done.stdout
    assert "next:" not in done.stdout
    assert done.stderr.startswith("next: lightdose completion")
    assert CliRunner().invoke(cli, ["completion", shell, "--quiet"]).stderr == ""


@pytest.mark.identity
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
def test_tab_in_a_real_bash_completes_command_and_site(shell_env: dict[str, str], tmp_path: Path) -> None:
    """Keys typed into an interactive bash: a command, an option and a site with a space come out whole."""
    import pty

    keys = "lightdose sensi\tfirst-tank/setup.toml --si\tsand\\ f\t"
    rc = tmp_path / "rc"
    rc.write_text("PS1='ready> '\nbind 'set enable-bracketed-paste off'\n", encoding="utf-8")
    pid, fd = pty.fork()
    if pid == 0:
        os.chdir(EXAMPLES)
        os.execvpe("bash", ["bash", "--noprofile", "--rcfile", str(rc), "-i"], shell_env)
    os.write(fd, b'eval "$(lightdose completion bash --quiet)"; echo "set"-up\n')
    read_until(fd, b"\nset-up")
    os.write(fd, keys.encode() + b"\x01printf '<%s>' \n")  # Ctrl-A: in front of the line
    seen = read_until(fd, b"><sand front>")
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    os.close(fd)
    assert b"<lightdose><sensitivity><first-tank/setup.toml><--site><sand front>" in seen


def read_until(fd: int, mark: bytes) -> bytes:
    """What a terminal shows up to a mark, or within 20 s."""
    seen, end = b"", time.monotonic() + 20
    while mark not in seen and time.monotonic() < end:
        if select.select([fd], [], [], 0.5)[0]:
            seen += os.read(fd, 65536)
    return seen


@pytest.mark.identity
@pytest.mark.parametrize("shell", ["zsh", "fish"])
def test_script_is_sound_to_its_own_shell(shell: str, shell_env: dict[str, str]) -> None:
    """zsh and fish parse their scripts; fish also completes with it."""
    if shutil.which(shell) is None:
        pytest.skip(f"{shell} is not installed here; its lines are held by the protocol tests")
    script = CliRunner().invoke(cli, ["completion", shell, "--quiet"]).stdout
    subprocess.run([shell, "-n"], input=script, text=True, check=True, env=shell_env)
    if shell == "fish":
        asked = script + "\ncomplete -C 'lightdose sensi'\n"
        found = subprocess.check_output(["fish"], input=asked, text=True, env=shell_env)
        assert found.startswith("sensitivity")


@pytest.mark.identity
def test_fish_gets_a_value_and_its_help_in_one_line() -> None:
    """The protocol of fish: the whole line and the word; type, comma, value, tab, help."""
    env = {COMPLETES: "fish_complete", "COMP_WORDS": "lightdose sensi", "COMP_CWORD": "sensi"}
    done = CliRunner().invoke(cli, [], env=env, prog_name="lightdose")
    assert done.output == f"plain,sensitivity\t{SUMMARIES['sensitivity']}\n"


@pytest.mark.identity
def test_powershell_gets_three_lines_a_value_and_quoted_names(monkeypatch: pytest.MonkeyPatch) -> None:
    """Its protocol, for no PowerShell runs here: names with spaces are quoted, backslashes of paths stay."""
    setup = EXAMPLES / "first-tank" / "setup.toml"
    assert offered("lightdose sensi", "powershell") == [["plain", "sensitivity", SUMMARIES["sensitivity"]]]
    assert offered(f"lightdose move {setup} op", "powershell") == [["plain", "'open brain'", "_"]]
    monkeypatch.setenv("COMP_WORDS", r"lightdose dose C:\tanks\setup.toml --site ")
    monkeypatch.setenv("COMP_CWORD", "4")
    shell = _PowerShell(cli, {}, "lightdose", COMPLETES)
    assert shell.get_completion_args() == (["dose", r"C:\tanks\setup.toml", "--site"], "")


HOSTILE = [
    "a=$(touch${IFS}X)",
    "b;touch X",
    "c`touch X`",
    "d $HOME",
    "e'f",
    'g"h',
    "i&j|k",
    "l\\m",
    "n*?[o]",
    "~p",
]


def tank_of_names(folder: Path, names: list[str]) -> Path:
    """A setup that holds nothing but these sites."""
    tables = "".join(f"[[site]]\nname = {json.dumps(name)}\n" for name in names)
    (folder / "setup.toml").write_text(tables, encoding="utf-8")
    return folder / "setup.toml"


@pytest.mark.identity
@pytest.mark.skipif(shutil.which("bash") is None, reason="bash is not installed")
@pytest.mark.parametrize("name", HOSTILE)
def test_completed_name_is_one_word_to_bash_and_runs_nothing(name: str, tmp_path: Path) -> None:
    """What stands on the line after TAB is, typed into bash, that name and nothing else."""
    setup = tank_of_names(tmp_path, [name])
    env = {COMPLETES: "bash_complete", "COMP_WORDS": f"lightdose dose {setup} --site ", "COMP_CWORD": "4"}
    done = CliRunner().invoke(cli, [], env=env, prog_name="lightdose")
    script = 'IFS=, read type value <<< "$1"; eval "printf %s $value"'
    run = subprocess.run(
        ["bash", "-c", script, "bash", done.output.rstrip("\n")], cwd=tmp_path, capture_output=True, text=True
    )
    assert run.stdout == name
    assert sorted(path.name for path in tmp_path.iterdir()) == ["setup.toml"]


@pytest.mark.identity
@pytest.mark.parametrize("mark", ['"', "'"])
def test_behind_an_opened_quotation_mark_only_plain_names_stand(mark: str, tmp_path: Path) -> None:
    """There bash would still run what stands in `$(...)`; a name with a blank is offered."""
    setup = tank_of_names(tmp_path, [*HOSTILE, "sand front"])
    line = f"lightdose dose {setup} --site {mark}"
    env = {COMPLETES: "bash_complete", "COMP_WORDS": line, "COMP_CWORD": "4"}
    done = CliRunner().invoke(cli, [], env=env, prog_name="lightdose")
    assert [row for row in done.output.splitlines() if row.startswith("plain,")] == ["plain,sand front"]


@pytest.mark.identity
@pytest.mark.parametrize("name", [*HOSTILE, "e\u2019;touch X", "$x", "@y"])
def test_name_with_marks_is_quoted_for_powershell(name: str, tmp_path: Path) -> None:
    """Single quotation marks, its own marks for them doubled, those of print too."""
    setup = tank_of_names(tmp_path, [name])
    found = offered(f"lightdose dose {setup} --site ", "powershell")[0][1]
    assert found[0] == found[-1] == "'"
    assert re.sub("(['\u2018-\u201b])\\1", r"\1", found[1:-1]) == name


@pytest.mark.identity
def test_name_of_two_lines_or_with_steering_letters_is_not_offered(tmp_path: Path) -> None:
    """Two lines would be two answers to the shell."""
    names = ["a\nplain,evil", "b\x1b[31m", "c\u202ed", "good"]
    assert values(f"lightdose dose {tank_of_names(tmp_path, names)} --site ") == ["good"]


@pytest.mark.identity
@pytest.mark.skipif(os.name == "nt", reason="pipes and devices are files on POSIX systems only")
@pytest.mark.parametrize("odd", ["pipe", "endless", "key of 50,000 parts", "lists 100,000 deep", "large"])
def test_setup_that_would_take_long_completes_to_nothing(odd: str, tmp_path: Path) -> None:
    """No wait for a writer, no device without end, no key that fills the memory."""
    setup = tmp_path / "setup.toml"
    if odd == "pipe":
        os.mkfifo(setup)
    elif odd == "endless":
        setup.symlink_to("/dev/zero")
    else:
        texts = {"large": "#" * 10_000_001, "lists 100,000 deep": "x = " + "[" * 100_000}
        setup.write_text(texts.get(odd, "a" + ".a" * 50_000 + " = 1"), encoding="utf-8")
    start = time.process_time()
    assert values(f"lightdose dose {setup} --site ") == []
    assert time.process_time() - start < 2
