"""`lightdose spectrum FILE...`: photon figures of spectra side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    csv_option,
    debug_option,
    dialect_option,
    figures_option,
    is_terminal,
    json_option,
    quiet_option,
    say,
)

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from lightdose.model.results import SpectrumMetrics
    from lightdose.model.spectrum import Quantity, SpectralDistribution

LIBRARY = "library:"


@click.command()
@click.argument("files", metavar="FILE...", nargs=-1, required=True)
@click.option(
    "--quantity",
    type=click.Choice(["power", "photons"]),
    help="What the values are, where a file's header does not say.",
)
@json_option
@csv_option
@dialect_option
@figures_option
@quiet_option
@click.option("--no-color", is_flag=True, expose_value=False, help="No colour; there is none here.")
@debug_option
def command(
    files: tuple[str, ...],
    *,
    quantity: Quantity | None,
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    figures: str | None,
    quiet: bool,
) -> None:
    """Photon figures of spectrum files or library entries, side by side.

    \b
    Example:
      lightdose spectrum blue-445 white-led-b3
      lightdose spectrum my-lamp.csv --quantity power --json

    A FILE is a CSV with wavelength_nm and one value column, an IES TM-27 file (.xml, .spdx), or the name of a
    library entry; library:NAME is always the entry. A name that the library lacks lists all of them.
    """
    from lightdose.files.library import node_tables
    from lightdose.physics.spectrum_metrics import spectrum_metrics

    read = _read_all(files, quantity)
    results = [spectrum_metrics(file, spectrum, node_tables()) for _, file, spectrum in read]
    names = [name for name, _, _ in read]
    inputs = _inputs([file for _, file, _ in read])
    if csv_file:
        _write_csv(results, csv_file, csv_dialect, inputs, quiet)
    if figures:
        _write_figure(names, [spectrum for _, _, spectrum in read], figures, inputs, quiet)
    _print_result(results, names, as_json=as_json)
    if not (figures or as_json):
        say("next: add --figures DIR to see the spectra over one another", quiet=quiet)


def _read_all(words: Sequence[str], quantity: Quantity | None) -> list[tuple[str, str, SpectralDistribution]]:
    """Every spectrum, or every problem of every file in one message."""
    from lightdose.errors import LightdoseError, Problem, SpectrumError

    read: list[tuple[str, str, SpectralDistribution]] = []
    problems: list[Problem] = []
    for word in words:
        try:
            read.append(_read(word, quantity))
        except LightdoseError as refusal:
            problems += refusal.problems
    if problems:
        raise SpectrumError(*problems)
    return read


def _read(word: str, quantity: Quantity | None) -> tuple[str, str, SpectralDistribution]:
    """Name on screen, name in JSON, and the spectrum of a file or a library entry."""
    import os.path
    from pathlib import Path

    from lightdose.errors import Problem, SpectrumError
    from lightdose.files.library import emitter_names, read_emitter

    entry = word.removeprefix(LIBRARY)
    is_file = not word.startswith(LIBRARY) and os.path.exists(word)
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


def _print_result(results: Sequence[SpectrumMetrics], names: Sequence[str], *, as_json: bool) -> None:
    if as_json:
        from lightdose.files.results_json import dump
        from lightdose.files.spectrum_json import spectrum_json

        click.echo(dump(spectrum_json(results)))
        return
    from lightdose.present.spectrum_table import record_lines, side_by_side

    if is_terminal():
        from shutil import get_terminal_size

        lines = side_by_side(results, names, get_terminal_size((80, 24)).columns)
    else:
        lines = record_lines(results, names)
    for line in lines:
        click.echo(line)


def _inputs(files: Sequence[str]) -> list[Path]:
    from pathlib import Path

    return [Path(file) for file in files if not file.startswith(LIBRARY)]


def _write_csv(
    results: Sequence[SpectrumMetrics],
    target: str,
    dialect: Literal["plain", "excel-eu"],
    inputs: Sequence[Path],
    quiet: bool,
) -> None:
    from lightdose.cli.written import save_table
    from lightdose.files.metrics_csv import metrics_csv, metrics_schema
    from lightdose.files.writing import output_target

    path, text = output_target(target, "spectra.csv"), metrics_csv(results, dialect)
    save_table(path, text, metrics_schema(dialect), len(results), inputs, quiet)


def _write_figure(
    names: Sequence[str],
    spectra: Sequence[SpectralDistribution],
    folder: str,
    inputs: Sequence[Path],
    quiet: bool,
) -> None:
    from pathlib import Path

    from lightdose.files.writing import write_atomically
    from lightdose.physics.spectrum_metrics import photon_shares
    from lightdose.present.figures.canvas import render
    from lightdose.present.figures.spectrum import overlay_drawing

    curves = [photon_shares(name, spectrum) for name, spectrum in zip(names, spectra, strict=True)]
    drawing = overlay_drawing(curves)
    forms: tuple[Literal["svg", "png"], ...] = ("svg", "png")
    for form in forms:
        path = Path(folder) / f"{drawing.name}.{form}"
        say(f"wrote {write_atomically(path, render(drawing, form), inputs=inputs)}", quiet=quiet)
