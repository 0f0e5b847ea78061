"""`groups` and `spectrum`: what is known of corals and of light before any tank is read."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Column, Point, Points, Say, Section, Table
from lightdose.answers.field import NONE, Field, Sheet, as_json, said
from lightdose.answers.light import CURVES
from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, USABLE_SHARE, ascii_unit, number, range_text
from lightdose.model.results import Span
from lightdose.model.setup import CoralGroup, CoralName
from lightdose.model.spectrum import PIGMENT_MODELS, USABLE_CURVES, SpectrumMetrics
from lightdose.quantities import BANDS, GRID_END_NM, GRID_START_NM, PPFD_BAND

STATEMENT: Final = (
    "Usual light of coral groups: common practice of the trade, no published source, where nothing else is "
    "named. The usual dose is the midday band x 0.0324 (a day worth 9 h at its peak), rounded. Grade A: two "
    "or more numeric published sources for its genera, B: one, C: direction only or related taxa, D: "
    "practice only; what is known from memory alone does not count, and none of them gives a usual amount; "
    "own: the keeper's own numbers. "
    "Ek is of gross photosynthesis: respiration is not taken off."
)
NAMING: Final = "Looks, and which names mean a group: common practice, no published source."


def _or_none(of: str) -> Callable[[CoralGroup], str | None]:
    return lambda group: getattr(group, of) or None


# fmt: off
GROUP_FIELDS: Final = (
    Field("group", "group", lambda g: g.key, kind="string", what="key that files name it by"),
    Field("name", "name", lambda g: g.name, kind="string"),
    Field("genera", "genera", lambda g: g.genera, kind="string"),
    Field("names", "other names", lambda g: g.names, kind="string",
          what="older names of its genera, and trade names that mean it, alone or among others"),
    Field("look", "look", _or_none("look"), kind="string", what="what tells it from other groups"),
    Field("band_dli", "usual DLI", lambda g: g.band_dli, "dli",
          what="usual dose; empty where light does not judge",
          parts=(("band_dli_low_mol_m2_d", "usual dose, low end"), ("band_dli_high_mol_m2_d",
                "usual dose, high end"))),
    Field("floor_dli", "floor", lambda g: g.floor_dli, "dli", what="below it: far below usual"),
    Field("ceiling_dli", "ceiling", lambda g: g.ceiling_dli, "dli", what="above it: far above usual"),
    Field("band_peak_umol_m2_s", "midday PPFD", lambda g: g.band_peak, "ppfd",
          parts=(("band_peak_low_umol_m2_s", "usual at midday, low end"), ("band_peak_high_umol_m2_s",
                "usual at midday, high end"))),
    Field("ek_range_umol_m2_s", "Ek", lambda g: g.ek_range, "ppfd",
          parts=(("ek_low_umol_m2_s", "light where saturation begins, low end"), ("ek_high_umol_m2_s",
                "light where saturation begins, high end"))),
    Field("ek_model", "Ek fit", lambda g: g.ek_model if g.ek_range else None, kind="string"),
    Field("ek_source", "source of Ek", lambda g: g.ek_source, kind="string"),
    Field("grade", "grade", lambda g: g.grade, kind="string", what="evidence: A strongest, D practice only"),
    Field("sources", "sources", lambda g: g.sources, kind="string"),
    Field("note", "evidence", lambda g: g.note, kind="string"),
    Field("floor_harm", "harm below the floor", _or_none("floor_harm"), kind="string"),
)
# fmt: on


def groups_answer(
    groups: Mapping[str, CoralGroup],
    sources: Mapping[str, str],
    title: str | None = None,
    name: CoralName | None = None,
) -> Answer:
    """Every group with its marks, or those that ``name`` means, and the citations in full."""
    shown = [group for key, group in groups.items() if name is None or key in {g.key for g in name.groups}]
    cited = {
        key: text for key, text in sources.items() if name is None or any(key in g.sources for g in shown)
    }
    body = {
        "asked": name and {key: getattr(name, key) for key in ("known", "how", "genus", "source")},
        "groups": [
            as_json(GROUP_FIELDS, group) | {"sources": [sources.get(key, key) for key in group.sources]}
            for group in shown
        ],
        "sources": cited,
    }
    listed = [
        Section(
            f"{g.key}: {g.name} (grade {g.grade})",
            (Points(tuple(map(Point, _facts(g, names=len(shown) == 1)))),),
        )
        for g in shown
    ]
    citations = Points(tuple(Point(citation, key) for key, citation in cited.items()))
    return Answer(
        "groups",
        (
            Say(_understood(name), "verdict"),
            Say(f"{STATEMENT} {NAMING}"),
            *listed,
            *([Section("Sources", (citations,))] if cited else []),
        ),
        lambda: body,
        title=title,
        sheet=Sheet(GROUP_FIELDS, shown),
    )


def _understood(name: CoralName | None) -> str:
    """How the word asked for is read, with the source of the name."""
    if name is None or name.how == "group":
        return ""
    if len(name.groups) > 1:
        return f"{name.known}: a trade name for any of these {len(name.groups)} groups; choose by looks"
    source = f" (name: {name.source})" if name.source else ""
    return f"{name.said or f'{name.known}: {name.group.name}'}{source}"


def _facts(group: CoralGroup, *, names: bool) -> list[str]:
    """What is known of a group, a line a thought."""
    usual = "usual: not judged by light"
    if group.band_dli is not None:
        marks = [
            f"{words} {dose:g}"
            for words, dose in (("far below under", group.floor_dli), ("far above over", group.ceiling_dli))
            if dose is not None
        ]
        marked = f" ({', '.join(marks)})" if marks else ""
        usual = f"usual {range_text(*group.band_dli)} {DLI_UNIT}{marked}"
    ek = ""
    if group.ek_range is not None:
        basis = group.ek_source.replace(" [C]", "")
        ek = f"saturates from {range_text(*group.ek_range)} {PPFD_UNIT}: {basis}"
    facts = (
        usual,
        f"midday {range_text(*group.band_peak)} {PPFD_UNIT}" if group.band_peak else "",
        f"look: {group.look}" if group.look else "",
        f"genera {', '.join(group.genera)}" if group.genera else "",
        f"other names {', '.join(group.names)}" if names and group.names else "",
        ek,
        f"evidence: {group.note}" if group.note else "",
        f"harm below: {group.floor_harm}" if group.floor_harm else "",
        f"sources {', '.join(group.sources)}",
    )
    return [fact for fact in facts if fact]


ALL_CURVES: Final = (*USABLE_CURVES, *PIGMENT_MODELS)
LUX_EXAMPLE: Final = 1000


def _four(value: float) -> str:
    return number(value, 4)


def _percent(share: float) -> str:
    return f"{100 * share:.1f}"


def _band(key: str) -> Callable[[SpectrumMetrics], float | None]:
    return lambda one: one.band_fraction[key]


def _xy(index: int) -> Callable[[SpectrumMetrics], str | None]:
    return lambda one: None if one.chromaticity_xy is None else f"{one.chromaticity_xy[index]:.4f}"


def _usable(one: SpectrumMetrics) -> Span | None:
    """By the mean of five published curves, lowest and highest of nine; None without light that counts."""
    default, *shares = (one.usable_fraction[curve] for curve in USABLE_CURVES)
    known = [share for share in shares if share is not None]
    return None if default is None else Span(default, min(known), max(known))


def _default(one: SpectrumMetrics) -> str | None:
    span = _usable(one)
    return None if span is None else f"{span.default:.2f}"


def _span(one: SpectrumMetrics) -> str | None:
    span = _usable(one)
    return None if span is None else f"{span.low:.2f}-{span.high:.2f}"


def _by(curve: str) -> Callable[[SpectrumMetrics], float | None]:
    return lambda one: one.usable_fraction[curve]


_LETTERS: Final = tuple(f"chromaticity_{axis}" for axis in "xy")
# fmt: off
SPECTRUM_FIELDS: Final = (
    Field("file", "file", lambda one: one.file, kind="string", what="file, or library:NAME"),
    Field("ppfd_umol_m2_s", "PPFD", lambda one: one.ppfd_umol_m2_s, unit="umol m-2 s-1", show=_four,
          what="photon irradiance of 400-700 nm", at={"spectra": 0}),
    Field("ppf_umol_s", "PPF", lambda one: one.ppf_umol_s, unit="umol s-1", show=_four,
          what="photon flux of 400-700 nm", at={"spectra": 1}),
    Field("umol_per_j", f"umol/J, {PPFD_BAND.low_nm:g}-{PPFD_BAND.high_nm:g} nm", lambda one: one.umol_per_j,
          show=_four, what="photons per joule, both of 400-700 nm, umol J-1", at={"spectra": 2}),
    Field("lux_per_umol", f"lx per {PPFD_UNIT}", lambda one: one.lux_per_umol, show=_four,
          what="illuminance per PPFD, lx per umol m-2 s-1", at={"spectra": 3}),
    Field("band_fraction", "bands", lambda one: one.band_fraction,
          parts=tuple((f"{b.key}_fraction",
                f"photons of {b.low_nm:g}-{b.high_nm:g} nm per photon of 400-700 nm") for b in BANDS)),
    *(said(b.key, f"{b.name} {b.low_nm:g}-{b.high_nm:g}, % of PPFD", _band(b.key), show=_percent,
          at={"spectra": 4}) for b in BANDS),
    Field("outside_400_700_fraction", f"beyond 400-700, % of {GRID_START_NM}-{GRID_END_NM}",
          lambda one: one.outside_400_700_fraction, show=_percent, what="share of the photons of 300-800 nm",
          at={"spectra": 5}),
    Field("usable_fraction", "usable share", _usable,
          parts=tuple((f"usable_fraction{end}", f"usable share, not growth: {what}") for end,
                what in CURVES)),
    said("share", "usable share", _default, at={"spectra": 6}),
    said("span", "its range, nine curves", _span, at={"spectra": 6.2}),
    Field("chromaticity_xy", "CIE 1931 x, y", lambda one: one.chromaticity_xy,
          parts=tuple((name, "CIE 1931") for name in _LETTERS)),
    said("x", "CIE 1931 x", _xy(0), at={"spectra": 8}),
    said("y", "CIE 1931 y", _xy(1), at={"spectra": 9}),
    Field("cct_k", "colour temperature K", lambda one: one.cct_k, show=lambda k: f"{k:.0f}",
          what="correlated colour temperature, K", at={"spectra": 10}),
    Field("duv", "Duv", lambda one: one.duv, show=lambda duv: f"{duv:+.4f}",
          what="distance from the Planckian locus, CIE 1960", at={"spectra": 11}),
    Field("notes", "notes", lambda one: one.notes, kind="string",
          what="what was done to the table, and what it cannot tell"),
)
BY_CURVE: Final = (
    Field("usable_fraction_by_curve", "usable share by curve", lambda one: one.usable_fraction,
          parts=tuple((f"usable_fraction_{c}", f"usable share, curve {c}, not growth") for c in ALL_CURVES)),
    *(said(c, f"  {c.replace('_', ' ')}", _by(c), show=lambda share: f"{share:.2f}",
          at={"spectra": 6.5}) for c in ALL_CURVES[1:]),
)
# fmt: on
PIGMENTS: Final = (
    "z1, z2, z4 and tissue are models of ours from pigments, for comparison; they are not in the range"
)


def spectrum_answer(
    spectra: Sequence[SpectrumMetrics],
    names: Sequence[str],
    inputs: Mapping[str, str],
    *,
    all_weightings: bool = False,
) -> Answer:
    """Every figure of every spectrum, one column a spectrum; ``inputs`` are its files with their sha256.

    With ``all_weightings`` the usable share by every published curve and by our pigment models too, which the
    spectra then know.
    """
    fields = (*SPECTRUM_FIELDS, *BY_CURVE) if all_weightings else SPECTRUM_FIELDS
    notes = tuple(Point(note, name) for name, one in zip(names, spectra, strict=True) for note in one.notes)
    return Answer(
        "spectrum",
        (
            _side_by_side(fields, spectra, names),
            *([Points(notes)] if notes else []),
            Say(USABLE_SHARE, "note"),
            *([Say(PIGMENTS, "note")] if all_weightings else []),
            Say(_closing(spectra, names), "verdict"),
        ),
        lambda: _body(fields, spectra),
        sheet=Sheet(fields, spectra),
        inputs=inputs,
    )


def _body(fields: Sequence[Field], spectra: Sequence[SpectrumMetrics]) -> dict[str, Any]:
    bands = {band.key: [band.low_nm, band.high_nm] for band in (PPFD_BAND, *BANDS)}
    return {"bands_nm": bands, "spectra": [as_json(fields, one) for one in spectra]}


def _side_by_side(fields: Sequence[Field], spectra: Sequence[SpectrumMetrics], names: Sequence[str]) -> Table:
    """A row a figure; absolute ones have none among spectra that are all relative."""
    shown = sorted((f for f in fields if "spectra" in f.at), key=lambda f: f.at["spectra"])
    rows = [(f, [str(f.shown(one)) for one in spectra]) for f in shown]
    told = [(f, cells) for f, cells in rows if f.at["spectra"] > 1 or any(c != NONE for c in cells)]
    heads = tuple(f"{f.head} {ascii_unit(f.unit)}".strip() for f, _ in told)
    columns = [Column("", heads)]
    columns += [
        Column(name, tuple(cells[n] for _, cells in told), right=True) for n, name in enumerate(names)
    ]
    return Table("spectra", "Spectra side by side", tuple(columns), least=len(columns), stacks=True)


def _closing(spectra: Sequence[SpectrumMetrics], names: Sequence[str]) -> str:
    """What a lux reading is worth under each light."""
    parts = [
        f"{number(LUX_EXAMPLE / one.lux_per_umol)} under {name}"
        for name, one in zip(names, spectra, strict=True)
        if one.lux_per_umol
    ]
    if not parts:
        return "No lux figure: see the notes."
    return f"{LUX_EXAMPLE} lx are {', '.join(parts)} ({PPFD_UNIT}). Next: --figures DIR draws the spectra."
