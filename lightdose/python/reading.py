"""Parts made in code are written as files and read by the one reader of files.

So rules, messages and meanings cannot drift: what code tells is what the same words in a file tell.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any, TypeVar, cast

from lightdose.errors import LightdoseError, Place, Problem, SetupError
from lightdose.files.fixture_file import FIXTURE_FORMAT, read_fixture_type
from lightdose.files.fixture_writer import channel_table, light_table
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_file import read_from
from lightdose.files.toml_text import toml_lines, toml_tables
from lightdose.model import fixture as records
from lightdose.model.setup import Setup
from lightdose.model.spectrum import ChannelSpectrum, LedPeak, SpectralDistribution, SpectrumMix

Made = TypeVar("Made")


def read_spectrum(path: str | Path) -> SpectralDistribution:
    """A spectrum from a file, or an entry of the library by its name.

    Raises
    ------
    SpectrumError
        If there is neither, or the file cannot be read.

    Examples
    --------
    >>> read_spectrum("blue-445").quantity
    'power'
    """
    from lightdose.files.library import named_spectrum

    return named_spectrum(str(path))[2]


@contextmanager
def in_code(folder: str = "") -> Iterator[None]:
    """Problems raised inside name no file: they belong to parts that were made in code."""
    try:
        yield
    except LightdoseError as trouble:
        kind = type(trouble) if type(trouble).__module__ == "lightdose.errors" else SetupError
        raise kind(*(_homeless(p, folder) for p in trouble.problems)) from None


def _homeless(problem: Problem, folder: str) -> Problem:
    return cast(Problem, without_files(replace(problem, place=None), folder))


def without_files(value: Any, folder: str) -> Any:
    """A record and all in it without places in files, and without the folder in which they were read."""
    if isinstance(value, str):
        return value.replace(folder + os.sep, "") if folder and folder in value else value
    if isinstance(value, Place):
        return None
    if isinstance(value, tuple):
        made = tuple(without_files(v, folder) for v in value)
        return value if all(a is b for a, b in zip(made, value, strict=True)) else made
    if isinstance(value, Mapping):
        return {key: without_files(v, folder) for key, v in value.items()}
    if not is_dataclass(value) or isinstance(value, type):
        return value
    old = {f.name: getattr(value, f.name) for f in fields(value)}
    new = {name: without_files(v, folder) for name, v in old.items()}
    changed = {name: v for name, v in new.items() if v is not old[name]}
    return replace(value, **changed) if changed else value


def _read_texts(texts: Mapping[str, str], read: Callable[[Path], Made]) -> Made:
    """What a reader makes of files with these texts, as if it were made in code."""
    with tempfile.TemporaryDirectory(prefix="lightdose-") as folder:
        for name, text in texts.items():
            path = Path(folder, name)
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8", newline="")
        with in_code(folder):
            return cast(Made, without_files(read(Path(folder)), folder))


def spectrum_named(given: Any) -> ChannelSpectrum:
    """The spectrum that code means: a record, a name of the library, a file, or pairs of these and shares."""
    if isinstance(given, LedPeak | SpectralDistribution | SpectrumMix):
        return given
    if isinstance(given, str | Path):
        return read_spectrum(given)
    if isinstance(given, Sequence) and all(isinstance(p, tuple) and len(p) == 2 for p in given):
        return SpectrumMix(tuple((spectrum_named(part), float(share)) for part, share in given))
    raise TypeError(f"a spectrum is Led(450, 20), a Spectrum, a name, a file, or pairs, not {given!r}")


def read_type(top: Mapping[str, Any], channels: Sequence[Any]) -> records.FixtureType:
    """The kind of fixture that a table tells, and its channels, as parts or as records."""
    files: dict[str, str] = {}
    tables = []
    for channel in channels:
        if isinstance(channel, records.Channel):
            tables.append(channel_table(channel, files))
            continue
        table = dict(channel.table)
        table["spectrum"] = light_table(channel.light, f"{table['name']} spectrum", files)
        if "file" in (beam := table.get("beam") or {}):
            table["beam"] = {"file": os.path.abspath(beam["file"])}
        tables.append(table)
    lines = [*toml_lines({"format": FIXTURE_FORMAT, **top}), *toml_tables("channel", tables)]

    def read(folder: Path) -> records.FixtureType:
        inputs = InputFiles()
        kind = read_fixture_type(folder / "fixture.toml", inputs)
        inputs.finish()
        assert kind is not None
        return kind

    return _read_texts({"fixture.toml": "\n".join(lines) + "\n", **files}, read)


def read_setup_texts(texts: Mapping[str, str]) -> Setup:
    """The setup in these texts, as if it were made in code: it names no files."""

    def read(folder: Path) -> Setup:
        return replace(read_from(InputFiles(), str(folder / "setup.toml")), path="", inputs_sha256={})

    return _read_texts(texts, read)
