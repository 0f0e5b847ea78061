"""Spectra and spectral tables: CSV in the dialects of spreadsheets and instruments, XML of IES TM-27."""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from xml.parsers import expat

import numpy as np

from lightdose.errors import Place, Problem, SpectrumError, first_few
from lightdose.files.delimited import DelimitedError, DelimitedTable, Row, read_delimited, read_text
from lightdose.files.spectral_rows import MOST_PROBLEMS, SpectralRows, emission_rows, increasing_rows
from lightdose.files.text import open_bytes
from lightdose.files.units import UnitProblem, parse_number
from lightdose.model.record import FloatArray
from lightdose.model.spectrum import AbsoluteUnit, Quantity, SpectralDistribution, SpectralTable
from lightdose.near_names import near_names

LIMIT_BYTES: Final = 20_000_000
_DEEPEST: Final = 20
"""Nesting that is read; the standard has three levels."""

_QUANTITIES: Final[dict[str, tuple[Quantity, AbsoluteUnit | None]]] = {
    "relative": ("power", None),
    "flux": ("power", "W nm-1"),
    "irradiance": ("power", "W m-2 nm-1"),
    "intensity": ("power", None),
    "radiance": ("power", None),
    "exposure": ("power", None),
}
"""SpectralQuantity of the standard: all are power; only flux and irradiance are absolute to us."""


@dataclass
class _Outline:
    """What our own pass over the XML found."""

    root: str = ""
    quantity: str = ""
    wavelengths: list[str] = field(default_factory=list)
    values: list[str] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)


def read_tm27(path: Path, label: str, quantity: Quantity | None = None) -> SpectralDistribution:
    """A spectrum from an IES TM-27 file.

    Raises
    ------
    SpectrumError
        With the line: broken XML, a document type declaration, another kind of XML, a quantity that is no
        light, or rows that no spectrum can have.
    """
    data = _read_bytes(path, label)
    outline = _outline(data, label)
    if outline.root.rsplit(" ", 1)[-1] != "IESTM2714" or " " not in outline.root:
        raise SpectrumError(
            Problem(
                found="this XML is not an IES TM-27 spectrum",
                allowed='<IESTM2714 xmlns="iestm2714" version="1.0"> as the outermost element',
                place=Place(label),
            )
        )
    stated = outline.quantity.strip().casefold()
    if stated not in _QUANTITIES:
        raise SpectrumError(
            Problem(
                found=f"SpectralQuantity {outline.quantity.strip()!r} is not a spectrum of light",
                allowed=", ".join(_QUANTITIES),
                place=Place(label),
            )
        )
    found, unit = _QUANTITIES[stated]
    if quantity is not None and quantity != found:
        raise SpectrumError(
            Problem(
                found=f"the file holds {found}, but quantity {quantity!r} was given",
                cure="leave quantity out: the file decides",
                place=Place(label),
            )
        )
    rows = _rows(path, outline, label)
    nodes, values, notes = emission_rows(rows)
    return SpectralDistribution(
        name=label,
        wavelength_nm=nodes,
        values=values,
        quantity=found,
        absolute_unit=unit,
        notes=(
            f"{nodes.size} rows, {nodes[0]:g}-{nodes[-1]:g} nm, IES TM-27, {stated}"
            + ("" if unit or stated == "relative" else " (taken as relative)"),
            *notes,
        ),
    )


def _read_bytes(path: Path, label: str) -> bytes:
    try:
        with open_bytes(path) as stream:
            data = stream.read(LIMIT_BYTES + 1)
    except OSError as trouble:
        reason = (trouble.strerror or str(trouble)).lower()
        raise SpectrumError(Problem(found=f"cannot be read: {reason}", place=Place(label))) from None
    if len(data) > LIMIT_BYTES:
        raise SpectrumError(
            Problem(
                found="is larger than allowed", allowed=f"up to {LIMIT_BYTES // 10**6} MB", place=Place(label)
            )
        )
    return data


def _outline(data: bytes, label: str) -> _Outline:
    """Root, quantity and rows with their lines; refuses document type declarations and deep nesting.

    Entities can only come from a document type declaration, so an expansion bomb ends here, in any encoding.
    """
    outline = _Outline()
    stack: list[str] = []
    text: list[str] = []
    parser = expat.ParserCreate(namespace_separator=" ")

    def refuse(found: str) -> None:
        raise SpectrumError(Problem(found=found, place=Place(label, parser.CurrentLineNumber)))

    def start(name: str, attributes: dict[str, str]) -> None:
        outline.root = outline.root or name
        stack.append(name.rsplit(" ", 1)[-1])
        text.clear()
        if len(stack) > _DEEPEST:
            refuse(f"elements are nested more than {_DEEPEST} deep")
        if stack[-1] == "SpectralData":
            outline.wavelengths.append(attributes.get("wavelength", ""))
            outline.lines.append(parser.CurrentLineNumber)

    def end(_: str) -> None:
        name = stack.pop()
        if name == "SpectralData":
            outline.values.append("".join(text))
        elif name == "SpectralQuantity":
            outline.quantity = "".join(text)
        text.clear()

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.CharacterDataHandler = text.append
    parser.StartDoctypeDeclHandler = lambda *_: refuse("holds a document type declaration: not read")
    try:
        parser.Parse(data, True)
    except expat.ExpatError as trouble:
        place = Place(label, trouble.lineno, trouble.offset + 1)
        raise SpectrumError(
            Problem(
                found=f"broken XML: {expat.ErrorString(trouble.code)}",
                cure="export the file again, or save the two columns as CSV",
                place=place,
            )
        ) from None
    except (ValueError, LookupError):
        raise SpectrumError(
            Problem(
                found="the XML names an encoding that cannot be read", allowed="UTF-8", place=Place(label)
            )
        ) from None
    return outline


def _rows(path: Path, outline: _Outline, label: str) -> SpectralRows:
    def place(index: int, _: int) -> Place:
        return Place(label, outline.lines[index])

    if not outline.lines:
        raise SpectrumError(
            Problem(
                found="the file has no SpectralData",
                allowed='<SpectralData wavelength="400.0">0.034</SpectralData>, one a row',
                place=Place(label),
            )
        )
    numbers, problems = [], []
    for index, pair in enumerate(zip(outline.wavelengths, outline.values, strict=True)):
        try:
            numbers.append([parse_number(text) for text in pair])
        except UnitProblem as trouble:
            problems.append(trouble.problem.at(place(index, 0)))
    if problems:
        raise SpectrumError(*first_few(problems, MOST_PROBLEMS))
    checked = np.array(numbers)
    if np.all(np.diff(checked[:, 0]) > 0):
        nodes, values = _by_colour_science(path, label)
    else:
        # colour-science takes rising wavelengths only; what is done to others is decided by our own rules.
        nodes, values = checked.T
    return SpectralRows(nodes, values, tuple(outline.lines), place)


def _by_colour_science(path: Path, label: str) -> tuple[np.ndarray, np.ndarray]:
    from colour import SpectralDistribution_IESTM2714

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of missing optional header entries
        try:
            distribution = SpectralDistribution_IESTM2714(str(path)).read()
        except Exception as trouble:
            raise SpectrumError(
                Problem(found=f"cannot be read as IES TM-27: {trouble}", place=Place(label))
            ) from trouble
    return np.asarray(distribution.wavelengths), np.asarray(distribution.values)


LIMIT_LINES: Final = 300_000
"""A step of 0.01 nm over 300-800 nm makes 50,000; 20 MB of short lines would take a minute. Our choice."""

HEADERS: Final[dict[str, tuple[Quantity, AbsoluteUnit | None]]] = {
    "irradiance_w_m2_nm": ("power", "W m-2 nm-1"),
    "power_w_nm": ("power", "W nm-1"),
    "relative_power": ("power", None),
    "photon_irradiance_umol_m2_s_nm": ("photons", "umol m-2 s-1 nm-1"),
    "photon_flux_umol_s_nm": ("photons", "umol s-1 nm-1"),
    "relative_photons": ("photons", None),
}
"""Header of the value column: what the values are, and their unit."""

_WAVELENGTH_HEADER: Final = re.compile(r"wave|lambda|λ|^nm$|^wl", re.IGNORECASE)
_OTHER_UNIT: Final = re.compile(r"(?:^|[^a-zµμ])(?:um|µm|μm|micro)", re.IGNORECASE)
_XML_SUFFIXES: Final = (".xml", ".spdx")


def read_spectrum(path: Path, label: str, quantity: Quantity | None = None) -> SpectralDistribution:
    """A spectrum of light from a CSV or IES TM-27 file.

    Parameters
    ----------
    path : the file; ``.xml`` and ``.spdx`` are read as IES TM-27
    label : its name in messages
    quantity : what the values are where the file's header does not say

    Returns
    -------
    SpectralDistribution
        ``notes`` says what was understood and what was done.

    Raises
    ------
    SpectrumError
        With the line: no known header and no ``quantity``, text that is no number, or rows that no spectrum
        can have.
    """
    if path.suffix.lower() in _XML_SUFFIXES:
        return read_tm27(path, label, quantity)
    table = _read_table(path, label)
    column, found, unit = _value_column(table, quantity)
    rows, row_problems = _numbers(table, _wavelength_column(table, column), column)
    if row_problems:
        raise SpectrumError(*first_few(row_problems, MOST_PROBLEMS))
    nodes, values, notes = emission_rows(rows)
    return SpectralDistribution(
        name=label,
        wavelength_nm=nodes,
        values=values,
        quantity=found,
        absolute_unit=unit,
        notes=(_understood(table, nodes), *notes),
    )


def read_spectral_table(
    path: Path,
    label: str,
    *,
    column: str | None = None,
    covers_nm: tuple[float, float] | None = None,
    allowed: tuple[float, float] | None = None,
) -> SpectralTable:
    """Any other function of wavelength: absorption, transmittance, a sensor's response.

    Parameters
    ----------
    path, label : the file and its name in messages
    column : header that the value column must have; any header, or none, if not given
    covers_nm : range that the table must cover; its ends are held beyond it. [nm]
    allowed : least and largest value

    Raises
    ------
    SpectrumError
        With the line of what cannot be used.
    """
    table = _read_table(path, label)
    value_column = _table_column(table, column)
    rows, problems = _numbers(table, _wavelength_column(table, value_column), value_column)
    if allowed is not None and not problems:
        problems = [
            Problem(
                found=f"{value:g} is outside {allowed[0]:g} to {allowed[1]:g}",
                cure=f"write {value / 100:g} for {value:g} %" if allowed[1] == 1 < value <= 100 else "",
                place=rows.place(index, 1),
            )
            for index, value in enumerate(rows.values)
            if not allowed[0] <= value <= allowed[1]
        ]
    if problems:
        raise SpectrumError(*first_few(problems, MOST_PROBLEMS))
    nodes, values, _, notes = increasing_rows(rows)
    if covers_nm is not None and (nodes[0] > covers_nm[0] or nodes[-1] < covers_nm[1]):
        raise SpectrumError(
            Problem(
                found=f"the table runs from {nodes[0]:g} to {nodes[-1]:g} nm",
                allowed=f"a table that covers {covers_nm[0]:g} to {covers_nm[1]:g} nm",
                place=rows.place(0, 0),
            )
        )
    return SpectralTable(label, nodes, values, (_understood(table, nodes), *notes))


def _read_table(path: Path, label: str) -> DelimitedTable:
    try:
        text, encoding = read_text(path, limit_bytes=LIMIT_BYTES, label=label)
        lines = text.count("\n")
        if lines > LIMIT_LINES:
            place = Place(label, LIMIT_LINES + 1)
            raise SpectrumError(
                Problem(f"has {lines:,} lines", f"up to {LIMIT_LINES:,}", "leave rows out", place)
            )
        return read_delimited(text, label, encoding)
    except DelimitedError as refusal:
        raise SpectrumError(*refusal.problems) from None


def _value_column(
    table: DelimitedTable, quantity: Quantity | None
) -> tuple[int, Quantity, AbsoluteUnit | None]:
    """Which column holds the values, and what they are; the header says so, or ``quantity`` does."""
    header = table.header or ()
    known = [i for i, name in enumerate(header) if name.casefold() in HEADERS]
    if len(known) > 1:
        raise SpectrumError(
            Problem(
                found=f"{len(known)} columns hold spectra: {', '.join(header[i] for i in known)}",
                allowed="one spectrum a file",
                cure="remove the columns that are not wanted",
                place=table.place(None),
            )
        )
    if known:
        found, unit = HEADERS[header[known[0]].casefold()]
        if quantity is not None and quantity != found:
            raise SpectrumError(
                Problem(
                    found=f"the column {header[known[0]]!r} holds {found}, but quantity {quantity!r} was "
                    "given",
                    cure="leave quantity out: the header decides",
                    place=table.place(None, known[0]),
                )
            )
        return known[0], found, unit
    quantity = quantity or _declared_quantity(table)
    if quantity is None:
        raise SpectrumError(_unknown_header(table))
    if table.n_columns != 2:
        raise SpectrumError(
            Problem(
                found=f"{table.n_columns} columns, and no header says which one holds the spectrum",
                allowed="wavelength_nm and one value column, or a header among " + ", ".join(HEADERS),
                place=table.place(None if header else table.rows[0]),
            )
        )
    value_first = bool(
        header and _WAVELENGTH_HEADER.search(header[1]) and not _WAVELENGTH_HEADER.search(header[0])
    )
    return (0 if value_first else 1), quantity, None


def _declared_quantity(table: DelimitedTable) -> Quantity | None:
    """The quantity of a comment such as ``# quantity: relative_power``, as in lightdose's own tables."""
    for line in table.preamble:
        key, _, value = line.partition(":")
        if key.strip().casefold() == "quantity" and value.strip().casefold() in HEADERS:
            return HEADERS[value.strip().casefold()][0]
    return None


def _unknown_header(table: DelimitedTable) -> Problem:
    allowed = "wavelength_nm and one of " + ", ".join(HEADERS)
    if table.header is None:
        return Problem(
            found="no header line says what the values are",
            allowed=allowed,
            cure="add a first line such as wavelength_nm,relative_power, or give quantity: power (watts) or "
            "photons",
            place=table.place(table.rows[0]),
        )
    near = [m for name in table.header for m in near_names(name, HEADERS)]
    hint = f"did you mean {near[0]}? " if near else ""
    return Problem(
        found=f"the header {', '.join(repr(name) for name in table.header)} does not say what the values are",
        allowed=allowed,
        cure=f"{hint}rename the column, or give quantity: power (watts) or photons",
        place=table.place(None),
    )


def _table_column(table: DelimitedTable, wanted: str | None) -> int:
    header = [name.casefold() for name in table.header or ()]
    if wanted is not None and wanted in header:
        return header.index(wanted)
    if wanted is not None or table.n_columns != 2:
        raise SpectrumError(
            Problem(
                found=f"the columns are {', '.join(repr(n) for n in table.header)}"
                if table.header
                else "no header line names the columns",
                allowed=f"wavelength_nm,{wanted}" if wanted else "wavelength_nm and one value column",
                place=table.place(None if table.header else table.rows[0]),
            )
        )
    return 1


def _wavelength_column(table: DelimitedTable, value_column: int) -> int:
    header = table.header or ("wavelength_nm",) * table.n_columns
    others = [i for i in range(table.n_columns) if i != value_column]
    named = [i for i in others if _WAVELENGTH_HEADER.search(header[i])]
    column = named[0] if named else others[0]
    if len(others) > 1 and len(named) != 1:
        raise SpectrumError(
            Problem(
                found=f"{len(named) or 'no'} columns of {', '.join(map(repr, header))} look like wavelengths",
                allowed="one column wavelength_nm",
                place=table.place(None if table.header else table.rows[0]),
            )
        )
    if table.header and _OTHER_UNIT.search(header[column]):
        raise SpectrumError(
            Problem(
                found=f"the wavelengths {header[column]!r} are in micrometres",
                allowed="nanometres, column wavelength_nm",
                cure="multiply the wavelengths by 1000 (and divide values per micrometre by 1000)",
                place=table.place(None, column),
            )
        )
    return column


def _numbers(
    table: DelimitedTable, wavelength_column: int, value_column: int
) -> tuple[SpectralRows, list[Problem]]:
    nodes, values, kept = [], [], []
    problems: list[Problem] = []
    for row in table.rows:
        try:
            node, value = table.number(row, wavelength_column), table.number(row, value_column)
        except UnitProblem as trouble:
            problems.append(trouble.problem)
            continue
        nodes.append(node)
        values.append(value)
        kept.append(row)
    place = _placer(table, kept, (wavelength_column, value_column))
    rows = SpectralRows(np.array(nodes), np.array(values), tuple(row.line for row in kept), place)
    return rows, problems


def _placer(table: DelimitedTable, rows: list[Row], columns: tuple[int, int]) -> Callable[[int, int], Place]:
    return lambda index, column: table.place(rows[index], columns[column])


def _understood(table: DelimitedTable, nodes: FloatArray) -> str:
    rows, _, rest = table.understood.partition(", ")
    return f"{rows}, {nodes[0]:g}-{nodes[-1]:g} nm, {rest}"
