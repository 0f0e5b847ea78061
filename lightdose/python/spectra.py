"""Spectra from files and from the library."""

from __future__ import annotations

from pathlib import Path

from lightdose.files.library import emitter_names, read_emitter
from lightdose.files.spectrum_file import read_spectrum as read_file
from lightdose.model.spectrum import SpectralDistribution


def read_spectrum(path: str | Path) -> SpectralDistribution:
    """A spectrum from a file, or an entry of the library by its name.

    Raises
    ------
    SpectrumError
        If there is neither, or the file cannot be read.
    """
    if str(path) in emitter_names() and not Path(path).exists():
        return read_emitter(str(path))
    return read_file(Path(path), str(path), None)
