"""`lightdose spectrum FILE...`: photon figures of spectra side by side."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from lightdose.answers.answer import Answer
    from lightdose.model.spectrum import Quantity, SpectralDistribution
    from lightdose.present.figures.canvas import Drawing


@answers(setup=None, csv="spectra.csv", figures=True, folds=False)
@click.argument("files", metavar="FILE...", nargs=-1, required=True)
@click.option(
    "--quantity",
    type=click.Choice(["power", "photons"]),
    help="What the values are, where a file's header does not say.",
)
@click.option(
    "--all-weightings",
    is_flag=True,
    help="The usable share by each published curve, and by our pigment models for comparison.",
)
def command(_: Ask, files: tuple[str, ...], quantity: Quantity | None, all_weightings: bool) -> Answer:
    """Photon figures of spectrum files or library entries, side by side.

    \b
    Example:
      lightdose spectrum blue-445 white-led-b3
      lightdose spectrum my-lamp.csv --quantity power --json

    A FILE is a CSV with wavelength_nm and one value column, an IES TM-27 file (.xml, .spdx), or the name of a
    library entry; library:NAME is always the entry. A name that the library lacks lists all of them.
    """
    from lightdose.answers.library import spectrum_answer
    from lightdose.files.input_files import sha256_of
    from lightdose.files.library import LIBRARY, all_weighting_tables, node_tables
    from lightdose.physics.spectrum_metrics import spectrum_metrics

    read = _read_all(files, quantity)
    names = [name for name, _, _ in read]
    tables = all_weighting_tables() if all_weightings else node_tables()
    figures = [spectrum_metrics(file, spectrum, tables) for _, file, spectrum in read]
    inputs = {file: sha256_of(file) for _, file, _ in read if not file.startswith(LIBRARY)}
    answer = spectrum_answer(figures, names, inputs, all_weightings=all_weightings)
    return replace(answer, pictures=lambda: [_overlay(names, [spectrum for _, _, spectrum in read])])


def _overlay(names: Sequence[str], spectra: Sequence[SpectralDistribution]) -> Drawing:
    from lightdose.physics.spectrum_metrics import photon_shares
    from lightdose.present.figures.day import overlay_drawing

    return overlay_drawing([photon_shares(n, spectrum) for n, spectrum in zip(names, spectra, strict=True)])


def _read_all(words: Sequence[str], quantity: Quantity | None) -> list[tuple[str, str, SpectralDistribution]]:
    """Every spectrum, or every problem of every file in one message."""
    from lightdose.errors import LightdoseError, Problem, SpectrumError
    from lightdose.files.library import named_spectrum

    read: list[tuple[str, str, SpectralDistribution]] = []
    problems: list[Problem] = []
    for word in words:
        try:
            read.append(named_spectrum(word, quantity))
        except LightdoseError as refusal:
            problems += refusal.problems
    if problems:
        raise SpectrumError(*problems)
    return read
