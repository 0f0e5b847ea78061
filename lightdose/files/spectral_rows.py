"""From pairs of wavelength and value, as a file lists them, to increasing wavelengths fit for a record.

Says what was done, and refuses what cannot be used, with the line.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lightdose.errors import Place, Problem, SpectrumError, first_few
from lightdose.model.record import FloatArray, dataclass
from lightdose.quantities import GRID_END_NM, GRID_START_NM

MOST_PROBLEMS = 20
"""Problems of one kind that are shown, the rest is counted; our choice."""

_NOISE_FRACTION = 0.05
"""A negative value this small against the highest is an instrument's noise: set to zero. Our choice."""

_GAP_STEPS, _GAP_NM = 3.0, 5.0
_BRIDGED_GAP_NM, _BRIDGED_FRACTION = 20.0, 0.10
"""A step of more than 3 usual ones and 5 nm is a gap; it is bridged up to 20 nm, or where both sides are
below 10 % of the highest value. Our choice."""

_LEAST_TOP, _MOST_TOP = 1e-30, 1e30
"""No spectrum of light peaks outside these; products of what lies between stay finite. Our choice."""

_GAPS_SHOWN = 3
_MICROMETRES_BELOW, _ANGSTROM_ABOVE = 10.0, 2500.0
LONGEST_NM = 100_000.0
"""No meter for light reads further; a mistyped row of 1e12 nm would be filled up nanometre by nanometre."""


@dataclass(frozen=True, eq=False)
class SpectralRows:
    """Pairs in the order of the file, and where each stands."""

    wavelength_nm: FloatArray
    values: FloatArray
    lines: tuple[int, ...]
    place: Callable[[int, int], Place]
    """Place of a row by its index and column (0 wavelength, 1 value)."""


def increasing_rows(rows: SpectralRows) -> tuple[FloatArray, FloatArray, tuple[int, ...], list[str]]:
    """Wavelengths that increase without duplicates, their values and lines, and notes of what was done.

    Raises
    ------
    SpectrumError
        If the unit is not nanometres, the order changes, or a wavelength has two values.
    """
    nodes, values, notes = rows.wavelength_nm, rows.values, []
    _check_unit(rows)
    order = np.arange(nodes.size)
    steps = np.diff(nodes)
    if np.all(steps <= 0) and np.any(steps < 0):
        order = order[::-1]
        notes.append(
            f"wavelengths fall from {nodes[0]:g} to {nodes[-1]:g} nm (lines {rows.lines[0]} to "
            f"{rows.lines[-1]}): read from the last row up"
        )
    elif np.any(steps < 0):
        turn = int(np.argmax(np.sign(steps) == -np.sign(steps[np.flatnonzero(steps)[0]]))) + 1
        raise SpectrumError(
            Problem(
                found=f"wavelength {nodes[turn]:g} nm after {nodes[turn - 1]:g} nm: the order changes here",
                allowed="wavelengths that rise all the way, or fall all the way",
                cure="sort the rows by wavelength, or split the file if it holds two spectra",
                place=rows.place(turn, 0),
            )
        )
    nodes, values = nodes[order], values[order]
    lines = tuple(rows.lines[i] for i in order)
    same = np.flatnonzero(np.diff(nodes) == 0)
    problems = [
        Problem(
            found=f"wavelength {nodes[i]:g} nm stands twice with different values, {values[i]:g} and "
            f"{values[i + 1]:g} (lines {lines[i]} and {lines[i + 1]})",
            cure="remove one of the rows",
            place=rows.place(int(order[i + 1]), 0),
        )
        for i in same
        if values[i] != values[i + 1]
    ]
    if problems:
        raise SpectrumError(*first_few(problems, MOST_PROBLEMS))
    if same.size:
        notes.append(
            f"{_counted(same.size, 'row', 'rows')} with a wavelength and value that stand twice left out "
            f"(line {lines[same[0] + 1]}{' and on' if same.size > 1 else ''})"
        )
        kept = np.delete(np.arange(nodes.size), same + 1)
        nodes, values, lines = nodes[kept], values[kept], tuple(lines[i] for i in kept)
    return nodes, values, lines, notes


def emission_rows(rows: SpectralRows) -> tuple[FloatArray, FloatArray, tuple[str, ...]]:
    """Increasing wavelengths and values that are not negative, with notes; for spectra of light.

    Raises
    ------
    SpectrumError
        As ``increasing_rows``; also for values far below zero, no light at all, values of no known unit,
        a gap where there is light, or a range that misses 300-800 nm.
    """
    nodes, values, lines, notes = increasing_rows(rows)
    at_line = {line: i for i, line in enumerate(rows.lines)}

    def place(index: int, column: int) -> Place:
        return rows.place(at_line[lines[index]], column)

    if nodes[-1] <= GRID_START_NM or nodes[0] >= GRID_END_NM:
        raise SpectrumError(
            Problem(
                found=f"the wavelengths run from {nodes[0]:g} to {nodes[-1]:g}",
                allowed=f"nanometres, with some of {GRID_START_NM} to {GRID_END_NM}",
                place=place(0, 0),
            )
        )
    values, more = _without_negatives(values, lines, place)
    notes += more
    inside = (nodes > GRID_START_NM) & (nodes < GRID_END_NM)
    if not np.any(values[inside] > 0):
        where = f" between {GRID_START_NM} and {GRID_END_NM} nm" if np.any(values > 0) else ""
        raise SpectrumError(Problem(found=f"every value is zero{where}", place=place(0, 1)))
    top = int(np.argmax(np.abs(values)))
    if not _LEAST_TOP <= values[top] <= _MOST_TOP:
        raise SpectrumError(
            Problem(
                found=f"the highest value is {values[top]:g}",
                allowed=f"a highest value from {_LEAST_TOP:g} to {_MOST_TOP:g}",
                cure="write the values in the unit of the header, or as shares of the highest",
                place=place(top, 1),
            )
        )
    notes += _gaps(nodes, values, lines, place)
    return nodes, values, tuple(notes)


def _check_unit(rows: SpectralRows) -> None:
    nodes = rows.wavelength_nm
    place = rows.place(0, 0)
    span = f"the wavelengths run from {nodes.min():g} to {nodes.max():g}"
    if nodes.size < 2:
        raise SpectrumError(
            Problem(found="one row makes no spectrum", allowed="two rows or more", place=place)
        )
    if nodes.max() < _MICROMETRES_BELOW:
        raise SpectrumError(
            Problem(
                found=f"{span}: these look like micrometres",
                allowed="nanometres, such as 380 to 780",
                cure="multiply the wavelengths by 1000 (and divide values per micrometre by 1000)",
                place=place,
            )
        )
    if nodes.min() > _ANGSTROM_ABOVE:
        raise SpectrumError(
            Problem(
                found=f"{span}: these look like angstrom",
                allowed="nanometres, such as 380 to 780",
                cure="divide the wavelengths by 10 (and multiply values per angstrom by 10)",
                place=place,
            )
        )
    if nodes.max() > LONGEST_NM:
        raise SpectrumError(
            Problem(
                found=f"wavelength {nodes.max():g} nm",
                allowed=f"wavelengths up to {LONGEST_NM:,.0f} nm",
                cure="correct the row, or leave it out",
                place=rows.place(int(np.argmax(nodes)), 0),
            )
        )
    if nodes.min() <= 0:
        first = int(np.argmax(nodes <= 0))
        raise SpectrumError(
            Problem(found=f"wavelength {nodes[first]:g} nm is not above 0", place=rows.place(first, 0))
        )


def _without_negatives(
    values: FloatArray, lines: tuple[int, ...], place: Callable[[int, int], Place]
) -> tuple[FloatArray, list[str]]:
    negative = np.flatnonzero(values < 0)
    if not negative.size:
        return values, []
    deep = [int(i) for i in negative if values[i] < -_NOISE_FRACTION * values.max()]
    if deep:
        raise SpectrumError(
            *first_few(
                (
                    Problem(
                        found=f"{values[i]:g} is further below zero than noise "
                        f"({100 * _NOISE_FRACTION:g} % of the highest value, {values.max():g})",
                        allowed="values of 0 or more",
                        cure="correct the value, or subtract the dark reading again",
                        place=place(i, 1),
                    )
                    for i in deep
                ),
                MOST_PROBLEMS,
            )
        )
    lowest = int(negative[np.argmin(values[negative])])
    counted = _counted(negative.size, "negative value", "negative values")
    note = f"{counted} set to zero (lowest {values[lowest]:g} in line {lines[lowest]})"
    return np.clip(values, 0.0, None), [note]


def _gaps(
    nodes: FloatArray, values: FloatArray, lines: tuple[int, ...], place: Callable[[int, int], Place]
) -> list[str]:
    steps = np.diff(nodes)
    wide = np.flatnonzero((steps > _GAP_STEPS * np.median(steps)) & (steps > _GAP_NM))
    bright = np.maximum(values[:-1], values[1:]) > _BRIDGED_FRACTION * values.max()
    refused = [int(i) for i in wide if steps[i] > _BRIDGED_GAP_NM and bright[i]]
    if refused:
        raise SpectrumError(
            *first_few(
                (
                    Problem(
                        found=f"nothing between {nodes[i]:g} and {nodes[i + 1]:g} nm, where there is light",
                        allowed=f"gaps of up to {_BRIDGED_GAP_NM:g} nm where the value is above "
                        f"{100 * _BRIDGED_FRACTION:g} % of the highest",
                        cure="add the missing rows",
                        place=place(i + 1, 0),
                    )
                    for i in refused
                ),
                MOST_PROBLEMS,
            )
        )
    notes = [
        f"gap from {nodes[i]:g} to {nodes[i + 1]:g} nm (lines {lines[i]} and {lines[i + 1]}) bridged"
        for i in wide[:_GAPS_SHOWN]
    ]
    if wide.size > _GAPS_SHOWN:
        notes.append(f"and {wide.size - _GAPS_SHOWN} more gaps bridged")
    return notes


def _counted(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
