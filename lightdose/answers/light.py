"""The light of places and corals: the rows of `dose`, and every figure that is said of them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import cached_property
from typing import Any, Final

from lightdose.answers.field import Field, said
from lightdose.answers.photosynthesis import ek_stands_on, hours_span, percent_span
from lightdose.answers.reef import NOTE as REEF_NOTE
from lightdose.answers.reef import PLACES, reef_cell
from lightdose.answers.verdicts import STATES, bar_of, brief_words, interval_text, odds_of, worst_first
from lightdose.answers.words import hours, length, lengths, number, percent, range_text
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, Span, Verdict
from lightdose.model.setup import CoralGroup, LengthUnit
from lightdose.quantities import BANDS

MOL: Final = "mol m-2 d-1"
PPFD: Final = "umol m-2 s-1"
BAR_KEY: Final = "range: [ floor, | | usual, ] ceiling, * this coral"


@dataclass(frozen=True, eq=False)
class Row:
    """One line: a coral with the light at its top, or a site with its own light."""

    analysis: Analysis
    site: int
    verdict: Verdict | None = None
    unit: LengthUnit = "cm"

    @cached_property
    def receiver(self) -> int:
        """Index of the point whose light it is."""
        return self.site if self.verdict is None else self.analysis.flat_receiver(self.verdict.receiver)

    @property
    def place(self) -> Any:
        """The site."""
        return self.analysis.setup.sites[self.site]

    @property
    def open_sky(self) -> float:
        """What part of the light nothing shades."""
        return self.analysis.light_field.receivers[self.receiver].open_sky

    @property
    def group(self) -> CoralGroup | None:
        """The coral's group."""
        return self.analysis.setup.groups[self.verdict.group] if self.verdict else None

    def of(self, name: str) -> float:
        """A figure of the day's dose at this receiver."""
        return float(getattr(self.analysis.dose, name)[self.receiver])

    def judged(self, name: str) -> Any:
        """A figure of the verdict; None for a site."""
        return getattr(self.verdict, name) if self.verdict else None

    def certain(self, name: str) -> Any:
        """A figure of how sure the verdict is; None where nothing was drawn."""
        return getattr(self.verdict.certainty, name) if self.verdict and self.verdict.certainty else None

    def interval(self, name: str) -> tuple[float, float] | None:
        """A 95 % interval at this receiver; None where nothing was drawn."""
        known = self.analysis.uncertainty
        if known is None:
            return None
        low, high = getattr(known, name)[self.site if self.verdict is None else self.verdict.receiver]
        return float(low), float(high)

    def side(self, name: str) -> float | None:
        """A figure of the light on its face or from all sides; None where it looks up or was not computed."""
        if self.analysis.sides is None:
            return None
        value = float(getattr(self.analysis.sides, name)[self.receiver])
        return None if math.isnan(value) else value

    @property
    def faces(self) -> str:
        """Which way the place or coral looks."""
        face = self.place.face
        if self.verdict:
            face = self.analysis.light_field.receivers[self.verdict.receiver].face or face
        return face.word if face else "up"

    def ek(self, name: str) -> Any:
        """A figure of the group's onset of saturation; None where it has none."""
        return getattr(self.group, name) if self.group and self.group.ek_range is not None else None

    @property
    def bands(self) -> dict[str, float]:
        """Photons of the day in each band. [mol m-2 d-1]"""
        return self.analysis.band_dose_mol_m2_d(self.receiver)

    @property
    def colours(self) -> str | None:
        """Blue, green and red in percent of the dose; None without light."""
        if not self.of("dli") > 0:
            return None
        shares = self.analysis.band_fraction(self.receiver)
        return "/".join(f"{100 * shares[key]:.0f}" for key in ("blue", "green", "red"))

    @property
    def where(self) -> str:
        """The point in the tank."""
        point = self.analysis.light_field.receivers[self.receiver]
        return lengths((point.x_m, point.y_m, point.depth_m), self.unit)

    @property
    def intervals(self) -> dict[str, Any] | None:
        """Both 95 % intervals; None where nothing was drawn."""
        dli, peak = self.interval("dli"), self.interval("peak_ppfd")
        return None if dli is None else {"dli_mol_m2_d": dli, "peak_ppfd_umol_m2_s": peak}

    @property
    def onset(self) -> dict[str, Any] | None:
        """Where saturation begins in the coral's group, by which curve, and on what that stands."""
        group = self.group
        if group is None or group.ek_range is None:
            return None
        return {
            "range_umol_m2_s": group.ek_range,
            "model": group.ek_model,
            "source": group.ek_source,
            "assumed": group.ek_assumed,
        }

    @property
    def reading(self) -> dict[str, Any] | None:
        """The reading that would settle the verdict, and how likely it would."""
        site = self.certain("reading_at")
        settles = self.certain("reading_settles")
        return None if site is None else {"site": site, "settles_with_probability": settles}

    def chance(self, state: str) -> float | None:
        """The probability of a state, 0 where it never came up."""
        known = self.certain("probability")
        judged = self.verdict is not None and self.verdict.dli_state != "not_judged"
        return known.get(state, 0.0) if known is not None and judged else None


def _range(ends: tuple[float, float]) -> str:
    return range_text(*ends)


def _span(span: Span) -> str:
    return f"{number(span.default)} ({number(span.low)}-{number(span.high)})"


def _share_span(span: Span) -> str:
    return f"{span.default:.2f} ({span.low:.2f}-{span.high:.2f})"


def _band(key: str) -> Callable[[Row], str]:
    return lambda row: number(row.bands[key])


def _reef(water: str) -> Callable[[Row], Any]:
    return lambda row: (row.analysis.reef_depths(row.receiver) or {}).get(water)


def _chance(state: str) -> Callable[[Row], float | None]:
    return lambda row: row.chance(state)


def _ends(
    name: str, what: str, *, low: str = "low end", high: str = "high end"
) -> tuple[tuple[str, str], ...]:
    return tuple((name.format(end), f"{what}, {words}") for end, words in (("low", low), ("high", high)))


# fmt: off
CURVES: Final = (
    ("", "mean of five published curves"),
    ("_low", "lowest of nine published curves"),
    ("_high", "highest of nine published curves"),
)

NAMES: Final = (
    Field("coral", "coral", lambda r: r.judged("coral"),
          what="name of the coral; empty for a site without corals", kind="string", fold=True,
          at={"corals": 0, "limits": 0, "certainty": 0, "photosynthesis": 0}),
    Field("group", "group", lambda r: r.judged("group"), what="key of its group", kind="string"),
    Field("site", "site", lambda r: r.place.name, what="name of the site", kind="string", fold=True,
          at={"sites": 0, "colour": 0, "corals": 5}),
)

PLACE: Final = (
    Field("x_m", "x", lambda r: r.place.x_m, what="from the left wall", unit="m"),
    Field("y_m", "y", lambda r: r.place.y_m, what="from the front wall", unit="m"),
    Field("depth_m", "depth", lambda r: r.place.depth_m, what="of the site below the surface", unit="m"),
    Field("judged_at_depth_m", "judged at depth", lambda r: r.judged("judged_at_depth_m"),
          what="of the coral's top below the surface", unit="m"),
    said("where", "x, y, depth", lambda r: r.where, unit="length", at={"corals": 11.5, "sites": 7}),
    Field("open_sky", "open sky", lambda r: r.open_sky, what="part of the light that nothing shades",
          show=lambda share: f"{share:g}", at={"sites": 12}),
)

LIGHT: Final = (
    Field("dli_mol_m2_d", "DLI", lambda r: r.of("dli"), "dli", "photons of 400-700 nm in the day",
          at={"corals": 1, "limits": 1, "sites": 1}),
    Field("peak_ppfd_umol_m2_s", "peak", lambda r: r.of("peak_ppfd"), "peak", unit=PPFD, at={"sites": 4}),
    Field("brightest_hour_ppfd_umol_m2_s", "brightest hour", lambda r: r.of("brightest_hour_ppfd"), "peak",
          "highest mean PPFD of any 60 minutes", at={"limits": 6}),
    Field("lux_at_peak", "lux at peak", lambda r: r.of("lux_at_peak"), "lux",
          "illuminance at the time of the peak", at={"sites": 6}),
    Field("photoperiod_h", "lit", lambda r: r.of("photoperiod_h"), "photoperiod", show=hours,
          at={"corals": 9, "sites": 9}),
    Field("any_light_h", "any light", lambda r: r.of("any_light_h"), "any_light", show=hours,
          at={"sites": 10}),
    Field("peak_equivalent_h", "full hours", lambda r: r.of("peak_equivalent_h"), "peak_equivalent",
          show=hours, at={"sites": 5}),
    said("colours", "blue/green/red", lambda r: r.colours, unit="% of DLI", at={"sites": 2, "colour": 1}),
    Field("band_dose_mol_m2_d", "photons by band", lambda r: r.bands, "band_dose",
          parts=tuple((f"{b.key}_dose_mol_m2_d",
                f"photons of {b.low_nm:g}-{b.high_nm:g} nm") for b in BANDS)),
    *(said(b.key, f"{b.name} {b.low_nm:g}-{b.high_nm:g}", _band(b.key), unit=MOL,
          at={"colour": 2}) for b in BANDS),
    Field("usable_fraction", "usable share (range)", lambda r: r.analysis.usable_fraction(r.receiver),
          "usable", show=_share_span, unit=" ", at={"sites": 3, "colour": 3},
          parts=tuple((f"usable_fraction{end}", f"usable share, not growth: {what}") for end,
                what in CURVES)),
    Field("usable_dose_mol_m2_d", "usable dose (range)",
          lambda r: r.analysis.usable_dose_mol_m2_d(r.receiver), unit=MOL, show=_span, at={"colour": 4},
          what="photons weighted by what symbionts use",
          parts=tuple((f"usable_dose{end}_mol_m2_d",
                f"photons weighted by what symbionts use: {what}") for end, what in CURVES)),
    Field("reef_depth_m", "like a reef at", lambda r: r.analysis.reef_depths(r.receiver), csv=False,
          unit="m, clear / coastal", show=reef_cell, note=REEF_NOTE, at={"corals": 17, "sites": 13}),
    *(Field(f"reef_depth_{water}_m", place, _reef(water), key="",
          parts=_ends(f"reef_depth_{water}_{{}}_m", f"depth on {place} whose clear day gives as much"))
          for water, place in PLACES.items()),
    Field("interval_95", "95 %", lambda r: r.intervals, csv=False),
    Field("interval_95_dli", "DLI, 95 %", lambda r: r.interval("dli"), "dli", show=interval_text, key="",
          at={"corals": 6, "certainty": 6, "sites": 8},
          parts=_ends("dli_{}_95_mol_m2_d", "95 % interval of the dose")),
    Field("interval_95_peak", "peak, 95 %", lambda r: r.interval("peak_ppfd"), "peak", show=interval_text,
          key="", at={"certainty": 7, "sites": 11},
          parts=_ends("peak_{}_95_umol_m2_s", "95 % interval of the peak")),
)

JUDGED: Final = (
    said("usual", "usual", lambda r: r.judged("band_dli"), show=_range, at={"corals": 2, "limits": 3}),
    said("state", "state", lambda r: brief_words(r.verdict), kind="string", at={"corals": 3}),
    said("odds", "odds", lambda r: odds_of(r.verdict), kind="string", at={"corals": 4.5}),
    said("range", "range", lambda r: bar_of(r.verdict), kind="string", at={"corals": 4}, note=BAR_KEY),
    said("peak", "peak",
         lambda r: number(r.of("peak_ppfd")) + (" (high)" * (r.judged("peak_state") == "high")), unit=PPFD,
         at={"corals": 7}),
    Field("dli_state", "calculated", lambda r: r.judged("dli_state"),
          what="dose against the group's usual range", kind="string"),
    Field("dli_verdict", "verdict", lambda r: r.judged("dli_verdict"),
          what="state with a probability of 2 in 3 or more, or undecided", kind="string"),
    *(said(state, state.replace("_", " "), _chance(state), show=percent, at={"certainty": 1 + n}) for n,
      state in enumerate(STATES)),
    Field("probability", "probability", lambda r: r.certain("probability"), csv=False),
    Field("probability_within", "within", lambda r: (r.certain("probability") or {}).get("within"),
          what="probability of a usual dose, 0-1"),
    Field("deciding_reading", "reading at", lambda r: r.certain("reading_at"), key="",
          what="site whose reading would settle most that is undecided", kind="string", fold=True,
          at={"certainty": 8}),
    Field("deciding", "settles", lambda r: r.reading, key="deciding_reading", csv=False,
          show=lambda reading: percent(reading["settles_with_probability"] or 0.0), at={"certainty": 9}),
    Field("peak_state", "the peak is", lambda r: r.judged("peak_state"),
          what="brightest hour against the group's midday range", kind="string", at={"limits": 8}),
    Field("band_dli", "usual", lambda r: r.judged("band_dli"), unit=MOL,
          parts=_ends("band_dli_{}_mol_m2_d", "usual dose")),
    said("midday", "usual at midday", lambda r: r.judged("band_peak"), unit=PPFD, show=_range,
         at={"limits": 7}),
    Field("floor_dli_mol_m2_d", "floor", lambda r: r.judged("floor_dli"), unit=MOL, key="floor_dli",
          what="below it: far below usual", show=lambda dose: f"{dose:g}", at={"limits": 2}),
    Field("ceiling_dli_mol_m2_d", "ceiling", lambda r: r.judged("ceiling_dli"), unit=MOL, key="ceiling_dli",
          what="above it: far above usual", show=lambda dose: f"{dose:g}", at={"limits": 4}),
    said("judged_at", "judged at depth", lambda r: length(r.judged("judged_at_depth_m"), r.unit),
         unit="length", at={"limits": 5}),
    Field("hours_at_pmax_h", "at Pmax, gross", lambda r: r.judged("hours_at_pmax_h"), "hours_at_pmax",
          show=hours_span, at={"corals": 13, "photosynthesis": 2},
          parts=_ends("hours_at_pmax_{}_h", "gross photosynthesis (tanh) as hours at Pmax, no respiration",
                low="at the high end of Ek", high="at the low end of Ek")),
    Field("hours_above_saturation_h", "above Ek", lambda r: r.judged("hours_above_saturation_h"),
          "above_saturation", show=hours_span, at={"corals": 14, "photosynthesis": 3},
          parts=_ends("hours_above_saturation_{}_h", "time with light above Ek", low="its high end",
                high="its low end")),
    Field("hours_at_pmax_own_curve_h", "at Pmax, own curve", lambda r: r.judged("hours_at_pmax_own_curve_h"),
          "hours_at_pmax", csv=False, show=hours_span),
    Field("photons_beyond_saturation_fraction", "beyond Ek",
          lambda r: r.judged("photons_beyond_saturation_fraction"), "beyond_saturation", unit="% of photons",
          show=percent_span, at={"corals": 15, "photosynthesis": 4},
          parts=_ends("photons_beyond_saturation_{}_fraction", "share of the day's photons on top of Ek",
                low="its high end", high="its low end")),
    Field("ek", "Ek", lambda r: r.onset, csv=False),
    Field("ek_range", "Ek", lambda r: r.ek("ek_range"), unit=PPFD, key="", show=_range,
          at={"photosynthesis": 1}, parts=_ends("ek_{}_umol_m2_s", "light where saturation begins")),
    Field("ek_model", "Ek fit", lambda r: r.ek("ek_model"), key="", kind="string",
          what="curve that the range of Ek was fitted with"),
    Field("ek_source", "source of Ek", lambda r: r.ek("ek_source"), key="", kind="string", fold=True,
          what="source of the range of Ek, or assumed",
          show=lambda source: ek_stands_on(source, assumed="assumed" in source),
          at={"photosynthesis": 5, "corals": 16}),
    Field("advice", "advice", lambda r: r.judged("advice"), what="one sentence", kind="string"),
    said("group_name", "group", lambda r: r.judged("group_name"), kind="string", fold=True,
         at={"corals": 10}),
    Field("grade", "grade", lambda r: r.judged("grade"), kind="string",
          what="evidence behind the range: A strongest, D practice only", at={"corals": 11}),
    Field("sources", "sources", lambda r: r.judged("sources"), what="behind the range", kind="string"),
)

SIDES: Final = (
    Field("faces", "faces", lambda r: r.faces, kind="string",
          what="which way the place or coral looks: up, front, back, left, right, down or two angles"),
    Field("dli_face_mol_m2_d", "DLI on its face", lambda r: r.side("face_dli"), "dli",
          "photons of 400-700 nm in the day on the face; empty where it looks up",
          at={"sites": 1.2}),
    Field("peak_face_umol_m2_s", "peak on its face", lambda r: r.side("face_peak"), "peak", unit=PPFD,
          what="highest PPFD on the face; empty where it looks up", at={"sites": 4.5}),
    Field("dli_scalar_mol_m2_d", "DLI from all sides", lambda r: r.side("scalar_dli"),
          unit=MOL, what="photons of 400-700 nm in the day from all sides",
          at={"corals": 8, "sites": 8.5}),
    Field("peak_scalar_umol_m2_s", "peak from all sides", lambda r: r.side("scalar_peak"), unit=PPFD,
          what="highest PPFD from all sides", at={"sites": 11.7}),
)

FACED: Final = (
    Field("judged_dli_mol_m2_d", "judged DLI", lambda r: r.judged("dli_mol_m2_d"), "dli",
          "the dose that is judged: on the face where one is told, else flat"),
    said("judged_by", "judged on its face", lambda r: r.faces if r.faces != "up" else None,
         kind="string", at={"corals": 4.6, "limits": 9}),
)

# fmt: on

FACED_NOTE: Final = "A coral on a face is shown and judged by the light on that face."

FIELDS: Final = (*NAMES, *PLACE, *LIGHT, *JUDGED, *SIDES, *FACED)
OF_SITE: Final = tuple(f for f in (NAMES[2], *PLACE, *LIGHT, *SIDES) if f.name != "judged_at_depth_m")


def told(rows: Sequence[Row]) -> tuple[Field, ...]:
    """The figures that stand in tables for people.

    Faces and all sides only where some row has one, the site only where some coral's is not its own place.
    Where corals are judged by the light on their faces, that is their DLI.
    """
    empty = {f.name for f in (*SIDES, *FACED) if all(f.get(row) is None for row in rows)}
    if rows and all(row.place.name == row.judged("coral") for row in rows):
        empty.add("site")
    shown = tuple(f for f in FIELDS if f.name not in empty)
    return shown if "judged_by" in empty else tuple(_judged_first(f) for f in shown)


def _judged_first(one: Field) -> Field:
    """A figure where it stands in tables of corals with faces."""
    if one.name == "judged_dli_mol_m2_d":
        return replace(one, head="DLI", at={"corals": 1, "limits": 1}, note=FACED_NOTE)
    if one.name == "dli_mol_m2_d":
        return replace(one, head="DLI, lying flat", at={**one.at, "corals": 8, "limits": 1.2})
    return one


def rows_of(analysis: Analysis, unit: LengthUnit = "cm") -> list[Row]:
    """One row a coral, and one for each site without corals, in the order of the sites."""
    rows: list[Row] = []
    for site, verdicts in enumerate(analysis.verdicts_by_site().values()):
        rows += [Row(analysis, site, v, unit) for v in verdicts] or [Row(analysis, site, None, unit)]
    return rows


def ranked(analysis: Analysis, unit: LengthUnit = "cm") -> list[Row]:
    """A row a coral, those of concern first."""
    sites = {site.name: n for n, site in enumerate(analysis.setup.sites)}
    return [Row(analysis, sites[v.site], v, unit) for v in worst_first(analysis.verdicts)]


def brightest(analysis: Analysis, unit: LengthUnit = "cm") -> list[Row]:
    """A row a site, the brightest first."""
    order = sorted(range(len(analysis.setup.sites)), key=lambda i: -float(analysis.dose.dli[i]))
    return [Row(analysis, i, None, unit) for i in order]
