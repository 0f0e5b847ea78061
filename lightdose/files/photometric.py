"""Intensity distributions from photometric files: IES LM-63 (.ies) and EULUMDAT (.ldt).

Only the shape is taken: a channel's own spectrum is the same in all directions, so candela relative to each
other are photon intensities relative to each other. The C 0 plane lies along the fixture's length (x at
rotation 0) and C grows counter-clockwise seen from above, whatever the file's own custom; turn the fixture by
``rotation_deg`` where its file has C 0 across.

Our own readers: the kept libraries for these formats give no line numbers for what is wrong, and one of them
loads a plotting library (tests hold our numbers to theirs).

Source: ANSI/IES LM-63-19 and LM-63-02 (keywords, TILT, order of numbers, symmetry of type C); EULUMDAT as
circulated since 1990 (A. Stockmar). Both from memory and from the documentation of the packages photompy and
eulumdat-py.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from lightdose.errors import LightdoseError, Place, Problem, SetupError
from lightdose.files.text import read_text
from lightdose.model.fixture import PhotometricLobe, computable
from lightdose.model.record import FloatArray

LIMIT_BYTES = 20_000_000
MOST_ANGLES = 5_000


def read_photometric(path: Path, label: str) -> PhotometricLobe:
    """The intensity distribution of an .ies or .ldt file.

    Parameters
    ----------
    path : Path
    label : str
        The file's name in messages.

    Returns
    -------
    PhotometricLobe
        Planes over the whole turn, symmetric ones written out; the downward half only.

    Raises
    ------
    SetupError
        One problem with its line if the file cannot be used.
    """
    suffix = path.suffix.lower()
    if suffix not in {".ies", ".ldt"}:
        raise SetupError(
            Problem(
                f"the beam file {path.name!r} has the ending {suffix or 'of no kind'!r}",
                allowed=".ies (IES LM-63) or .ldt (EULUMDAT)",
                place=Place(label),
            )
        )
    try:
        text, _ = read_text(path, limit_bytes=LIMIT_BYTES, label=label)
    except LightdoseError as trouble:
        cure = "save it as plain text with the ending .ies or .ldt"
        raise SetupError(*(replace(p, cure=cure if p.cure else "") for p in trouble.problems)) from None
    lines = _Lines(text.splitlines(), label)
    c_deg, gamma_deg, intensity = _read_ies(lines) if suffix == ".ies" else _read_ldt(lines)
    return _downward(c_deg, gamma_deg, intensity, lines)


class _Lines:
    """Lines of a file and where reading stands."""

    def __init__(self, lines: list[str], label: str) -> None:
        self.lines, self.label, self.at = lines, label, 0

    def problem(self, found: str, allowed: str = "", cure: str = "", line: int | None = None) -> SetupError:
        """A problem at a line, counted from 1, by default the last one read."""
        number = self.at if line is None else line
        text = self.lines[number - 1] if 0 < number <= len(self.lines) else ""
        return SetupError(Problem(found, allowed, cure, Place(self.label, number, 0, text[:120])))

    def next(self, what: str) -> str:
        """The next line."""
        if self.at >= len(self.lines):
            self.at = len(self.lines)
            raise self.problem(f"the file ends before {what}", cure="use the complete file")
        self.at += 1
        return self.lines[self.at - 1]

    def number(self, token: str, what: str) -> float:
        """A finite number; a comma counts as the decimal sign."""
        try:
            value = float(token.replace(",", "."))
        except ValueError:
            value = float("nan")
        if not np.isfinite(value):
            raise self.problem(f"{token!r} stands where {what} is expected", allowed="a number")
        return value

    def intensity(self, token: str, what: str) -> float:
        """A number that is not negative."""
        value = self.number(token, what)
        if value < 0:
            raise self.problem(f"an intensity is negative, {value:g}", allowed="0 or more")
        return value

    def number_line(self, what: str) -> float:
        """A line that holds one number."""
        return self.number(self.next(what).strip(), what)

    def count_line(self, what: str, low: int = 0, high: int = MOST_ANGLES) -> int:
        """A line that holds a count."""
        return self.count(self.number_line(what), what, low, high)

    def count(self, value: float, what: str, low: int, high: int = MOST_ANGLES) -> int:
        """A whole number within limits."""
        if value != int(value) or not low <= value <= high:
            raise self.problem(f"{value:g} stands for {what}", allowed=f"a whole number from {low} to {high}")
        return int(value)

    def stream(self) -> Iterator[str]:
        """Numbers separated by spaces, tabs or commas, over as many lines as they take."""
        while self.at < len(self.lines):
            self.at += 1
            yield from self.lines[self.at - 1].replace(",", " ").split()


def _numbers(
    lines: _Lines, tokens: Iterator[str], count: int, what: str, *, intensities: bool = False
) -> FloatArray:
    read = lines.intensity if intensities else lines.number
    values = np.empty(count)
    for i in range(count):
        token = next(tokens, None)
        if token is None:
            lines.at = len(lines.lines)
            raise lines.problem(
                f"the file ends at {i} of {count} numbers for {what}", cure="use the complete file"
            )
        values[i] = read(token, what)
    return values


def _read_ies(lines: _Lines) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Planes, angles and intensities (plane, angle) as the file gives them."""
    tilt = ""
    while not tilt.startswith("TILT"):
        tilt = lines.next("its line TILT=").strip().upper()
    if tilt.replace(" ", "") != "TILT=NONE":
        raise lines.problem(
            f"{tilt} describes a lamp that is measured tilted",
            allowed="TILT=NONE",
            cure="use a file of the fixture as it hangs, pointing straight down",
        )
    tokens = lines.stream()
    lines.count(_numbers(lines, tokens, 1, "the number of lamps")[0], "the number of lamps", -1)
    _numbers(lines, tokens, 1, "lumens per lamp")
    factor = _numbers(lines, tokens, 1, "the candela multiplier")[0]
    gammas = lines.count(_numbers(lines, tokens, 1, "the number of vertical angles")[0], "vertical angles", 2)
    planes = lines.count(
        _numbers(lines, tokens, 1, "the number of horizontal angles")[0], "horizontal angles", 1
    )
    kind = int(_numbers(lines, tokens, 1, "the photometric type")[0])
    if kind != 1:
        names = {2: "type B", 3: "type A"}
        raise lines.problem(
            f"the photometry is of {names.get(kind, f'the unknown type {kind}')}",
            allowed="type C (the number 1), as for lights that shine down",
        )
    _numbers(lines, tokens, 4, "the units and measures of the opening")
    _numbers(lines, tokens, 3, "the ballast factors and the power")
    gamma_deg = _angles(lines, tokens, gammas, "vertical angles")
    if gamma_deg[0] != 0:
        raise lines.problem(
            f"the vertical angles start at {gamma_deg[0]:g} deg: no light goes straight down",
            allowed="vertical angles from 0 deg",
        )
    c_deg = _angles(lines, tokens, planes, "horizontal angles")
    angles_line = lines.at
    values = _numbers(lines, tokens, planes * gammas, "the candela values", intensities=True)
    if factor <= 0:
        raise lines.problem(f"the candela multiplier is {factor:g}", allowed="above 0")
    c_deg, values = _whole_turn(lines, c_deg, values.reshape(planes, gammas), angles_line)
    return c_deg, gamma_deg, values


def _angles(lines: _Lines, tokens: Iterator[str], count: int, what: str) -> FloatArray:
    angles = _numbers(lines, tokens, count, f"the {what}")
    if np.any(np.diff(angles) <= 0):
        raise lines.problem(f"the {what} do not increase", allowed="angles that rise")
    return angles


def _whole_turn(
    lines: _Lines, c_deg: FloatArray, values: FloatArray, line: int | None = None
) -> tuple[FloatArray, FloatArray]:
    """Write out the symmetry of type C: one plane, a quarter, a half, or all of the turn."""
    first, last = c_deg[0], c_deg[-1]
    if c_deg.size == 1:
        return np.array([0.0, 360.0]), np.vstack((values, values))
    if (first, last) == (0.0, 90.0):
        return _mirror(*_mirror(c_deg, values, 180.0), 360.0)
    if (first, last) == (0.0, 180.0):
        return _mirror(c_deg, values, 360.0)
    if (first, last) == (90.0, 270.0):
        turned, values = _mirror(c_deg - 90.0, values, 360.0)
        turned = np.mod(turned[:-1] + 90.0, 360.0)
        order = np.argsort(turned)
        return _closed(turned[order], values[:-1][order])
    if first == 0 and 180 < last <= 360:
        return (c_deg, values) if last == 360 else _closed(c_deg, values)
    raise lines.problem(
        f"the horizontal angles run from {first:g} to {last:g} deg",
        allowed="0 alone, 0 to 90, 0 to 180, 90 to 270 or 0 to 360 deg",
        line=line,
    )


def _mirror(c_deg: FloatArray, values: FloatArray, whole_deg: float) -> tuple[FloatArray, FloatArray]:
    """Planes from 0 to half of ``whole_deg``, continued by their mirror image."""
    return np.concatenate((c_deg, whole_deg - c_deg[-2::-1])), np.vstack((values, values[-2::-1]))


def _closed(c_deg: FloatArray, values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The first plane repeated at the end of the turn."""
    if c_deg[0] != 0:
        before = c_deg[-1] - 360.0
        share = -before / (c_deg[0] - before)
        at_0 = values[-1] * (1 - share) + values[0] * share
        c_deg, values = np.concatenate(([0.0], c_deg)), np.vstack((at_0, values))
    return np.append(c_deg, 360.0), np.vstack((values, values[:1]))


def _read_ldt(lines: _Lines) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Planes, angles and intensities (plane, angle) as the file gives them, over the whole turn."""
    lines.next("the maker's name")
    lines.number_line("the type of light")
    symmetry = lines.count_line("the symmetry", 0, 4)
    planes = lines.count_line("the number of C planes", 1)
    lines.number_line("the distance of C planes")
    gammas = lines.count_line("the number of intensities in a plane", 2)
    lines.number_line("the distance of intensities")
    for what in ("report", "luminaire name", "luminaire number", "file name", "date"):
        lines.next(f"the {what}")
    for _ in range(9):
        lines.number_line("a measure of the luminaire [mm]")
    for what in ("the downward share", "the efficiency", "the conversion factor"):
        lines.number_line(what)
    tilt = lines.number_line("the tilt of the measurement")
    if tilt != 0:
        raise lines.problem(
            f"the fixture was measured with a tilt of {tilt:g} deg",
            allowed="0",
            cure="use a file of the fixture as it hangs, pointing straight down",
        )
    sets = lines.count_line("the number of lamp sets", 0, 20)
    for _ in range(6 * sets):
        lines.next("the data of its lamps")
    for _ in range(10):
        lines.number_line("a direct ratio")
    c_deg = np.array([lines.number_line("a C angle") for _ in range(planes)])
    gamma_deg = np.array([lines.number_line("a G angle") for _ in range(gammas)])
    for angles, what in ((c_deg, "C angles"), (gamma_deg, "G angles")):
        if np.any(np.diff(angles) <= 0):
            raise lines.problem(f"the {what} do not increase", allowed="angles that rise")
    if gamma_deg[0] != 0 or c_deg[0] != 0 or c_deg[-1] > 360:
        raise lines.problem(
            f"the angles start at C {c_deg[0]:g} and G {gamma_deg[0]:g} deg and end at C {c_deg[-1]:g} deg",
            allowed="C from 0 to less than 360 deg, G from 0 deg",
        )
    c_deg, values = _ldt_planes(lines, symmetry, c_deg, gammas)
    return c_deg, gamma_deg, values


def _ldt_planes(
    lines: _Lines, symmetry: int, c_deg: FloatArray, gammas: int
) -> tuple[FloatArray, FloatArray]:
    """The intensities of the planes that the file holds, continued by its symmetry (0 none to 4 both)."""
    planes = c_deg.size
    parts = {0: 1, 1: planes, 2: 2, 3: 2, 4: 4}[symmetry]
    if planes % parts:
        raise lines.problem(
            f"{planes} C planes do not fit the symmetry {symmetry}", allowed=f"a multiple of {parts}"
        )
    held = planes if symmetry == 0 else 1 if symmetry == 1 else planes // parts + 1
    what = "a luminous intensity"
    values = np.array(
        [[lines.intensity(lines.next(what).strip(), what) for _ in range(gammas)] for _ in range(held)]
    )
    if symmetry == 1:
        return np.array([0.0, 360.0]), np.vstack((values, values))
    if symmetry == 0:
        return (c_deg, values) if c_deg[-1] == 360 else _closed(c_deg, values)
    if symmetry == 3:
        # held from C 270 over 360 to 90: mirrored at the plane 90-270 this is 270 down to 90
        start = 3 * planes // 4
        from_270 = np.append(c_deg[start:], c_deg[: held - (planes - start)] + 360.0) - 270.0
        return _whole_turn(lines, 270.0 - from_270[::-1], values[::-1])
    return _whole_turn(lines, c_deg[:held], values)


def _downward(c_deg: FloatArray, gamma_deg: FloatArray, values: FloatArray, lines: _Lines) -> PhotometricLobe:
    """Keep the lower half space, with a node at 90 deg where the file goes beyond."""
    if gamma_deg[-1] > 90:
        below = gamma_deg < 90
        at_90 = np.array([np.interp(90.0, gamma_deg, plane) for plane in values])
        values = np.column_stack((values[:, below], at_90))
        gamma_deg = np.append(gamma_deg[below], 90.0)
    if not np.any(values > 0):
        raise lines.problem("no light goes down", allowed="some intensity between 0 and 90 deg", line=0)
    return PhotometricLobe(c_deg, gamma_deg, computable(values), lines.label)
