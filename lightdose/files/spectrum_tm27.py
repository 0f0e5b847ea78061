"""Spectra in the XML form of IES TM-27, read by colour-science after a check of our own."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final
from xml.parsers import expat

import numpy as np

from lightdose.errors import Place, Problem, SpectrumError, first_few
from lightdose.files.spectral_rows import MOST_PROBLEMS, SpectralRows, emission_rows
from lightdose.files.text import open_bytes
from lightdose.files.units import UnitProblem, parse_number
from lightdose.model.spectrum import AbsoluteUnit, Quantity, SpectralDistribution

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
