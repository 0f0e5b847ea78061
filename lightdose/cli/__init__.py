"""The command line: one thin module a command, loaded only when it is called."""

from __future__ import annotations

import _thread
import errno
import gc
import io
import os
import re
import signal
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from typing import TYPE_CHECKING, Any, NoReturn, TextIO, cast

import click
from click.exceptions import NoSuchCommand

from lightdose import __version__
from lightdose.working_folder import pass_settings_by

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

SECTIONS = {
    "Begin": {
        "init": "Write a complete invented example to start from.",
        "check": "Read every file of a setup and name every problem.",
        "desk": "The tank on a page in the browser: look, try, change, measure, save.",
        "guide": "The manual: first steps, files and keys, quantities, limits, safety.",
    },
    "See the light": {
        "dose": "The photons each coral gets in a day, against what is usual for its group.",
        "map": "The light all over the tank, in level and upright slices.",
        "sensitivity": "What plausible changes do to the light of every site and coral.",
        "hazard": "How to behave around these lights, and how soon staring into them reaches a limit.",
        "spectrum": "Photon figures of spectrum files or library entries, side by side.",
        "groups": "List coral groups and genera with their usual light, grade and sources.",
    },
    "Measure it": {
        "estimate": "What one reading can mean, without any file.",
        "survey": "The few meter readings that would tell most, as a sheet to print.",
        "meter": "What one meter reading stands for: the true PPFD, with its interval.",
        "calibrate": "Fit what each channel really gives to meter readings.",
    },
    "Change it": {
        "tune": "Overall setting and hours that serve the whole tank best, never fewer corals than today.",
        "match": "Another fixture and tank set so that its places get what places here get.",
        "place": "Which coral goes where, so that most of the tank gets the usual light of its groups.",
        "move": "The way of one coral to another site, over free sites, in steps that it can follow.",
        "acclimate": "Steps from today's light to another, slow enough for every coral.",
    },
    "Remember it": {
        "keep": "Keep today's setup and all its files in the diary, and tell what changed.",
        "note": "Note what a coral shows or what was done, or a whole round at the tank.",
        "history": "What each coral lived in, what changed, and what it showed after it.",
    },
    "Explain it": {
        "compare": "What changes from one setup to another for every site and coral, and why.",
        "report": "One page to read, print and hand on: the answer in words, tables, maps, figures, sources.",
        "slip": "The light that a coral lived in, on a small page to go with it when it leaves.",
    },
    "Look after lightdose": {
        "selftest": "Check this installation: its data, its libraries, and published values on this machine.",
        "completion": "The script that lets TAB complete commands, options, files and names in a shell.",
    },
}
"""Commands by what a keeper wants, in the order of a first session; held equal to their help by a test."""

SUMMARIES = {name: summary for section in SECTIONS.values() for name, summary in section.items()}

COMPLETES = "_LIGHTDOSE_COMPLETE"
"""Set in the environment by the scripts of `lightdose completion` when TAB is pressed."""

EXAMPLE = """\b
Example:
  lightdose init my-tank
  lightdose dose my-tank/setup.toml
"""


class CommandGroup(click.Group):
    """Loads a command's module on use, and turns every way to fail into one message and an exit code."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of ``SUMMARIES``."""
        return list(SUMMARIES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of that name, from its module ``lightdose.cli.NAME``."""
        if cmd_name not in SUMMARIES:
            return None
        command = import_module(f"lightdose.cli.{cmd_name}").command
        assert isinstance(command, click.Command)
        command.name = cmd_name
        if COMPLETES in os.environ:
            from lightdose.cli.completion import completes

            return completes(command)
        return command

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem[Any]]:
        """Commands by their summaries, without loading their modules; options after a dash."""
        from click.shell_completion import CompletionItem

        names = [CompletionItem(n, help=s) for n, s in SUMMARIES.items() if n.startswith(incomplete)]
        return names + click.Command.shell_complete(self, ctx, incomplete)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that the first word names; a typo gets the close matches."""
        if args and args[0] not in SUMMARIES and not args[0].startswith("-") and not ctx.resilient_parsing:
            raise NoSuchCommand(args[0], possibilities=SUMMARIES, ctx=ctx)
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """The commands by section with their summaries, without loading their modules."""
        longest = max(len(name) for name in SUMMARIES)  # `map` may be our command here
        for section, commands in SECTIONS.items():
            with formatter.section(section):
                formatter.write_dl([(f"{name:<{longest}}", summary) for name, summary in commands.items()])

    def main(self, args: Sequence[str] | None = None, *rest: Any, **extra: Any) -> NoReturn:
        """Run; exit 0 done, 1 unexpected, 2 wrong usage or input, 3 strict target missed, 130 interrupted."""
        words = list(sys.argv[1:] if args is None else args)
        _never_fail_on_letters()
        streams = sys.stdout, sys.stderr
        sys.stdout, sys.stderr = cast(TextIO, _Told(streams[0])), cast(TextIO, _Outlasting(streams[1]))
        # Our matrices are small: a second BLAS thread costs more to start and to wait for than it brings,
        # ten times more on a busy machine. Set before numpy loads; the user's own setting stays.
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        extra |= {"standalone_mode": False, "complete_var": COMPLETES}
        if COMPLETES in os.environ:
            import lightdose.cli.completion  # noqa: F401 - its shells take the place of click's
        try:
            with _no_lost_interrupt():
                code = super().main(words, *rest, **extra)
                sys.stdout.flush()
        except (KeyboardInterrupt, click.Abort) as stop:
            cause = stop.__cause__ if isinstance(stop, click.Abort) else stop
            code = 128 + (cause.number if isinstance(cause, Ended) else signal.SIGINT)
        except click.ClickException as refusal:
            _refuse(refusal)
            code = 2
        except Exception as trouble:
            code = _report(trouble, debug="--debug" in words)
        finally:
            with suppress(Exception):  # another trouble is told
                sys.stdout.flush()
            sys.stderr.flush()
            sys.stdout, sys.stderr = streams
        sys.exit(code if isinstance(code, int) else 0)


@contextmanager
def _no_lost_interrupt() -> Iterator[None]:
    """Bring Ctrl-C back a moment after it fell into a callback, where Python prints and drops it."""
    before = sys.unraisablehook

    def hook(lost: sys.UnraisableHookArgs) -> None:
        if issubclass(lost.exc_type, KeyboardInterrupt):
            _thread.start_new_thread(interrupt, ())
        else:
            before(lost)

    def interrupt() -> None:
        time.sleep(0.01)  # the callback ends; what falls into another comes again
        if sys.unraisablehook is hook:  # the command still runs
            _thread.interrupt_main()

    sys.unraisablehook = hook
    try:
        yield
    finally:
        sys.unraisablehook = before


def _refuse(refusal: click.ClickException) -> None:
    """Usage and reason on stderr, in our words: the option, then what was found."""
    ctx = refusal.ctx if isinstance(refusal, click.UsageError) else None
    if ctx is not None:
        click.echo(f"{ctx.get_usage()}\nTry '{ctx.command_path} --help' for help.\n", err=True)
    from lightdose.errors import shown

    words = "\n".join(shown(line) for line in refusal.format_message().split("\n"))
    click.echo(re.sub(r"^Invalid value(?: for (.+?))?: ", r"\1: ", words).removeprefix(": "), err=True)


def _report(trouble: Exception, *, debug: bool) -> int:
    from lightdose.errors import LightdoseError

    if isinstance(trouble, LightdoseError):
        click.echo(str(trouble), err=True)
        return 2
    if debug:
        import traceback

        traceback.print_exc()
        return 1
    click.echo(
        f"unexpected trouble, a fault of lightdose {__version__}: {type(trouble).__name__}: {trouble}\n"
        "run the same command with --debug and report what it prints, with your files",
        err=True,
    )
    return 1


def _never_fail_on_letters() -> None:
    """Escape what the terminal's encoding lacks, so that a name never ends a command."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


class _Outlasting:
    """A stream that outlasts its reader: after `| head -1`, or where it is closed, files and code stay."""

    def __init__(self, stream: TextIO | None) -> None:
        self._stream = stream or open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115 - as long as the run
        self._is_closed = stream is None

    def write(self, text: str) -> int:
        with self._outlasting():
            buffer = getattr(self._stream, "buffer", None)
            if isinstance(buffer, io.RawIOBase):  # python -u: what a full disk takes of it is not looked at
                _write_all(buffer, text, self._stream)
            else:
                self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        with self._outlasting():
            self._stream.flush()

    @contextmanager
    def _outlasting(self) -> Iterator[None]:
        try:
            yield
        except OSError as cause:
            self._to_nowhere()
            if not isinstance(cause, BrokenPipeError):
                self._failed(cause)

    def _failed(self, cause: OSError) -> None:
        """Nobody can be told."""

    def _to_nowhere(self) -> None:
        """From here on the stream's bytes, those that wait in its buffer too, go to nothing."""
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, self._stream.fileno())
        os.close(nothing)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)


class _Told(_Outlasting):
    """Standard output: an answer that is lost, but for a reader who left, is a failure that is told."""

    def write(self, text: str) -> int:
        if self._is_closed and text:
            self._is_closed = False
            self._failed(OSError(errno.EBADF, "closed"))
        return super().write(text)

    def _failed(self, cause: OSError) -> None:
        from lightdose.errors import OutputError, Problem

        full = cause.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
        reason = "the disk is full" if full else (cause.strerror or str(cause)).lower()
        found = f"the answer could not be written to standard output: {reason}"
        raise OutputError(Problem(found, cure="free some space, or send it elsewhere")) from None


def _write_all(buffer: io.RawIOBase, text: str, stream: TextIO) -> None:
    data = text.replace("\n", os.linesep).encode(stream.encoding, stream.errors or "strict")
    while data:
        data = data[buffer.write(data) or 0 :]


class Ended(KeyboardInterrupt):
    """The system, or a window that was closed, ends the run: as Ctrl-C, but for the exit code."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number


def _end_by_signals() -> None:
    """Let the signals that end a process end it as Ctrl-C does: nothing half-written stays."""

    def end(number: int, _: object) -> None:
        raise Ended(number)

    for name in ("SIGTERM", "SIGHUP", "SIGQUIT"):
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) == signal.SIG_DFL:  # nohup ignores one
            signal.signal(number, end)


def _hold_streams() -> None:
    """Where a standard stream is closed, nothing else may get its number: a file would take its words."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


@click.group(
    cls=CommandGroup,
    invoke_without_command=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    help=f"""{EXAMPLE}
Turns channel spectra and ramp schedules into the photons each coral gets in a day.""",
    epilog="`lightdose COMMAND --help` tells more of a command, `lightdose guide` of everything else.",
)
@click.version_option(__version__, prog_name="lightdose")
@click.pass_context
def cli(ctx: click.Context) -> None:
    """Show the help when no command is named."""
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())


def _tell_how_to_call() -> None:
    """On stderr, for a person in a first session who called lightdose by its path."""
    words = sys.argv[1:]
    if sys.stderr is None or not sys.stderr.isatty() or "--quiet" in words:
        return
    from lightdose.cli.completion import FIRST_COMMANDS, how_to_call

    if words and words[0] in FIRST_COMMANDS:
        told = how_to_call(sys.argv[0], os.getcwd(), os.environ, windows=os.name == "nt")
        if told:
            click.echo(told, err=True)


def main() -> NoReturn:
    """The command line from the first word to the exit code."""
    _hold_streams()
    _end_by_signals()
    pass_settings_by()
    try:
        cli.main()
    except SystemExit as end:
        if not end.code:
            _tell_how_to_call()
        raise
    finally:
        # All is written: spare the interpreter its last search for cycles among what it is about to drop,
        # a tenth of a short run.
        gc.freeze()
