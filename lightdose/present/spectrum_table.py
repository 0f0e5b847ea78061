"""The figures of spectra side by side for people, and one record a line for pipes."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from lightdose.model.results import SpectrumMetrics
from lightdose.present.labels import PPFD_UNIT, literal, number
from lightdose.quantities import BANDS, GRID_END_NM, GRID_START_NM, PPFD_BAND

_NAME_WIDTH = 20
_GAP = 2
_NOTHING = "-"
_LUX_EXAMPLE = 1000
_ABSOLUTE_ROWS = 2


def side_by_side(spectra: Sequence[SpectrumMetrics], names: Sequence[str], width: int) -> Iterator[str]:
    """Lines of a table with one column a spectrum, in as many blocks as the width asks for."""
    shown = [literal(name) for name in names]
    records = _without_empty_absolutes([_figures(one) for one in spectra])
    labels = [label for label, _ in records[0]]
    label_width = max(len(label) for label in labels)
    heads = [textwrap.wrap(name, _NAME_WIDTH) or [""] for name in shown]
    widths = [
        max(*(len(line) for line in head), *(len(value) for _, value in record))
        for head, record in zip(heads, records, strict=True)
    ]
    start = 0
    while start < len(spectra):
        end, used = start, label_width
        while end < len(spectra) and (end == start or used + _GAP + widths[end] <= width):
            used += _GAP + widths[end]
            end += 1
        yield from _block(labels, label_width, heads[start:end], records[start:end], widths[start:end])
        yield ""
        start = end
    for name, one in zip(shown, spectra, strict=True):
        for note in one.notes:
            yield f"{name}: {literal(note)}"
    yield "absorption index: share that zooxanthellae can absorb; not growth"
    yield _closing(spectra, shown)


def record_lines(spectra: Sequence[SpectrumMetrics], names: Sequence[str]) -> Iterator[str]:
    """One record a spectrum, fields parted by tabs; then the closing line."""
    shown = [literal(name) for name in names]
    for name, one in zip(shown, spectra, strict=True):
        fields = [f"spectrum {name}", *(f"{label} {value}" for label, value in _figures(one))]
        yield "\t".join([*fields, *(f"note {literal(note)}" for note in one.notes)])
    yield _closing(spectra, shown)


def _block(
    labels: Sequence[str],
    label_width: int,
    heads: Sequence[Sequence[str]],
    records: Sequence[Sequence[tuple[str, str]]],
    widths: Sequence[int],
) -> Iterator[str]:
    gap = " " * _GAP
    for line in range(max(len(head) for head in heads)):
        cells = (head[line] if line < len(head) else "" for head in heads)
        yield " " * label_width + "".join(gap + c.rjust(w) for c, w in zip(cells, widths, strict=True))
    yield "-" * (label_width + sum(_GAP + w for w in widths))
    for row, label in enumerate(labels):
        values = "".join(gap + r[row][1].rjust(w) for r, w in zip(records, widths, strict=True))
        yield label.ljust(label_width) + values


def _figures(one: SpectrumMetrics) -> list[tuple[str, str]]:
    """Label and value of every figure; the bands carry their edges."""
    span = [value for value in one.usable_fraction.values() if value is not None]
    index = one.usable_fraction.get("z1")
    return [
        (f"PPFD {PPFD_UNIT}", _or_dash(one.ppfd_umol_m2_s)),
        ("PPF umol/s", _or_dash(one.ppf_umol_s)),
        (f"umol/J, {PPFD_BAND.low_nm:g}-{PPFD_BAND.high_nm:g} nm", _or_dash(one.umol_per_j)),
        (f"lx per {PPFD_UNIT}", _or_dash(one.lux_per_umol)),
        *(
            (
                f"{band.name} {band.low_nm:g}-{band.high_nm:g}, % of PPFD",
                _percent(one.band_fraction[band.key]),
            )
            for band in BANDS
        ),
        (
            f"beyond 400-700, % of {GRID_START_NM}-{GRID_END_NM}",
            _percent(one.outside_400_700_fraction),
        ),
        ("absorption index", _NOTHING if index is None else f"{index:.2f}"),
        ("its range, four curves", f"{min(span):.2f}-{max(span):.2f}" if span else _NOTHING),
        ("CIE 1931 x", _NOTHING if one.chromaticity_xy is None else f"{one.chromaticity_xy[0]:.4f}"),
        ("CIE 1931 y", _NOTHING if one.chromaticity_xy is None else f"{one.chromaticity_xy[1]:.4f}"),
        ("colour temperature K", _NOTHING if one.cct_k is None else f"{one.cct_k:.0f}"),
        ("Duv", _NOTHING if one.duv is None else f"{one.duv:+.4f}"),
    ]


def _without_empty_absolutes(records: list[list[tuple[str, str]]]) -> list[list[tuple[str, str]]]:
    """PPFD and PPF have no row among spectra that are all relative."""
    filled = [
        row >= _ABSOLUTE_ROWS or any(record[row][1] != _NOTHING for record in records)
        for row in range(len(records[0]))
    ]
    return [[cell for cell, keep in zip(record, filled, strict=True) if keep] for record in records]


def _closing(spectra: Sequence[SpectrumMetrics], names: Sequence[str]) -> str:
    """What a lux reading is worth under each light."""
    parts = [
        f"{number(_LUX_EXAMPLE / one.lux_per_umol)} under {name}"
        for name, one in zip(names, spectra, strict=True)
        if one.lux_per_umol
    ]
    if not parts:
        return "no lux figure: see the notes"
    return f"{_LUX_EXAMPLE} lx are {', '.join(parts)} ({PPFD_UNIT})"


def _or_dash(value: float | None) -> str:
    return _NOTHING if value is None else number(value, 4)


def _percent(value: float | None) -> str:
    return _NOTHING if value is None else f"{100 * value:.1f}"
