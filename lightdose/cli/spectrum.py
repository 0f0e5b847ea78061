"""`lightdose spectrum FILE...`: photon figures of spectra side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.options import (
    debug_option,
    figures_option,
    is_terminal,
    json_option,
    quiet_option,
    say,
)

if TYPE_CHECKING:
    from lightdose.model.spectrum import Quantity, SpectralDistribution

LIBRARY = "library:"


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True)
@click.option(
    "--quantity",
    type=click.Choice(["power", "photons"]),
    help="What the values are, where a file's header does not say.",
)
@figures_option
@json_option
@quiet_option
@debug_option
def command(
    files: tuple[str, ...], quantity: Quantity | None, figures: str | None, as_json: bool, quiet: bool
) -> None:
    """Photon figures of spectrum files or library entries, side by side.

    \b
    Example:
      lightdose spectrum blue-445 white-led-b3
      lightdose spectrum my-lamp.csv --quantity power --json

    A FILE is a CSV with wavelength_nm and one value column, an IES TM-27 file (.xml, .spdx), or the name of a
    library entry; library:NAME is always the entry. A name that the library lacks lists all of them.
    """
    from lightdose.errors import LightdoseError, Problem, SpectrumError
    from lightdose.files.library import node_tables
    from lightdose.physics.spectrum_metrics import photon_shares, spectrum_metrics

    named: list[tuple[str, str, SpectralDistribution]] = []
    problems: list[Problem] = []
    for word in files:
        try:
            named.append(_read(word, quantity))
        except LightdoseError as refusal:
            problems += refusal.problems
    if problems:
        raise SpectrumError(*problems)
    results = [spectrum_metrics(file, spectrum, node_tables()) for _, file, spectrum in named]
    names = [name for name, _, _ in named]
    if figures is not None:
        from lightdose.present.spectrum_figure import overlay_drawing

        drawing = overlay_drawing([photon_shares(name, spectrum) for name, _, spectrum in named])
        _write_figures(drawing, figures, quiet=quiet)
    if as_json:
        from lightdose.files.results_json import dump
        from lightdose.files.spectrum_json import spectrum_json

        click.echo(dump(spectrum_json(results)))
        return
    from lightdose.present.spectrum_table import record_lines, side_by_side

    if is_terminal():
        import shutil

        lines = side_by_side(results, names, shutil.get_terminal_size().columns)
    else:
        lines = record_lines(results, names)
    for line in lines:
        click.echo(line)


def _read(word: str, quantity: Quantity | None) -> tuple[str, str, SpectralDistribution]:
    """Name on screen, name in JSON, and the spectrum of a file or a library entry."""
    import os.path
    from pathlib import Path

    from lightdose.errors import Problem, SpectrumError
    from lightdose.files.library import emitter_names, read_emitter

    entry = word.removeprefix(LIBRARY)
    is_file = not word.startswith(LIBRARY) and Path(word).exists()
    if not is_file and (entry in emitter_names() or word.startswith(LIBRARY)):
        return entry, f"{LIBRARY}{entry}", read_emitter(entry)
    if not is_file and os.path.basename(word) == word and not Path(word).suffix:
        try:
            read_emitter(word)
        except SpectrumError as refusal:
            unknown = refusal.problems[0]
            found = f"there is no file {word!r} here, and no library entry of that name"
            raise SpectrumError(Problem(found, unknown.allowed, unknown.cure)) from None
    from lightdose.files.spectrum_csv import read_spectrum

    return os.path.basename(word), os.path.abspath(word), read_spectrum(Path(word), word, quantity)


def _write_figures(drawing: object, folder: str, *, quiet: bool) -> None:
    from pathlib import Path

    from lightdose.files.writing import write_atomically
    from lightdose.present.canvas import Drawing, render

    assert isinstance(drawing, Drawing)
    target = Path(folder)
    target.mkdir(parents=True, exist_ok=True)
    for form in ("svg", "png"):
        say(write_atomically(target / f"{drawing.name}.{form}", render(drawing, form)), quiet=quiet)
