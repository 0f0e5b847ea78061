"""`compare`: photons first, then how they come about, then what the colour adds; what gets worse first.

Terminal, pipe and report print these blocks; `report` sets figures between them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from typing import Any, Final

from lightdose.answers.advice import rows_of as advice_rows
from lightdose.answers.answer import Answer, drawn_of
from lightdose.answers.blocks import Block, Picture, Point, Points, Say, Section, pointed
from lightdose.answers.colour import LOOKS, NOTE, colour_text, looks_json, looks_sentence, swatch_text
from lightdose.answers.dose import (
    EK_NOTE,
    FIXTURE,
    ROWS_SHOWN,
    brief_cautions,
    is_safety,
    safety_lines,
    safety_section,
)
from lightdose.answers.field import Field, Sheet, as_json, said, table
from lightdose.answers.light import CURVES, JUDGED, LIGHT, Row
from lightdose.answers.light import FIELDS as OF_DOSE
from lightdose.answers.photon_change import cell_factor, change_sentence, colour_factor, factor, photon_words
from lightdose.answers.verdicts import (
    SEVERITY,
    brief_words,
    concerns,
    interval_text,
    octaves_off,
    short_state,
    verdict_sentence,
)
from lightdose.answers.words import count, number, range_text
from lightdose.errors import literal
from lightdose.model.comparison import (
    Comparison,
    CoralComparison,
    LooksAndGets,
    RunningCost,
    SiteComparison,
)
from lightdose.model.record import dataclass
from lightdose.model.results import Caution, Verdict, weaker_basis

ARROW: Final = " -> "
NAMED: Final = 5
STEEP: Final = 1.25
"""A rise beyond this in one go calls for `acclimate`: common practice, no published source."""

NOT_GROWTH: Final = (
    "Usable share: what symbionts use by nine published curves, not growth. At equal photons, published "
    "growth was about equal under blue and under white light, as long as blue is there and red does not "
    "dominate [Kinzie, Jokiel & York 1984, Mar Biol, 10.1007/BF00393009; Wijgerde et al. 2014, "
    "PLoS ONE 9:e92781]."
)
COMMON_CANCELS: Final = (
    "The two differ in programmes alone, so what is not known of fixtures, tank and water is common to both: "
    "a dose may be off by its own 95 % range, the ratio only by the one beside it."
)

MORE: Final = "--all shows what each change is made of, photosynthesis, sites and looks."


@dataclass(frozen=True, eq=False)
class Side(Row):
    """A site or coral under one of the setups, with how it looks there."""

    looks: LooksAndGets | None = None

    @property
    def look(self) -> str | None:
        """Colour of the light at the peak, and about how a screen shows it."""
        seen = self.looks and self.looks.appearance
        return f"{colour_text(seen)}; swatch {swatch_text(seen)}" if seen else None


@dataclass(frozen=True, eq=False)
class Pair:
    """One line: a site or a coral under A and under B."""

    change: SiteComparison | CoralComparison
    a: Side
    b: Side

    @property
    def coral(self) -> str | None:
        """The coral's name; None for a site."""
        return self.change.coral if isinstance(self.change, CoralComparison) else None

    @property
    def name(self) -> str:
        """Of the site or coral."""
        return self.coral or self.a.place.name

    def both(self, shown: Callable[[Side], object]) -> str:
        """What is shown of each side, once where it is alike."""
        return ARROW.join(dict.fromkeys(str(shown(side)) for side in (self.a, self.b)))

    def each(self, get: Callable[[Side], Any]) -> dict[str, Any]:
        """What stands for each side, as JSON has it."""
        return {"a": get(self.a), "b": get(self.b)}


def pairs_of(comparison: Comparison, changes: Iterable[SiteComparison | CoralComparison]) -> list[Pair]:
    """A line for each of these sites or corals."""
    before, after = comparison.before, comparison.after
    here, there = ({s.name: n for n, s in enumerate(side.setup.sites)} for side in (before, after))
    made = []
    for change in changes:
        looks = change.before.looks, change.after.looks
        if isinstance(change, SiteComparison):
            places: tuple[tuple[int, Verdict | None], ...] = (change.a, None), (change.b, None)
        else:
            one, other = change.verdict_before, change.verdict_after
            places = (here[one.site], one), (there[other.site], other)
        a, b = Side(before, *places[0], looks=looks[0]), Side(after, *places[1], looks=looks[1])
        made.append(Pair(change, a, b))
    return made


def _split(name: str) -> Callable[[Pair], Any]:
    return lambda pair: getattr(pair.change.split, name)


def _times(ln: float) -> str:
    return cell_factor(math.exp(ln))


def _end(which: int) -> Callable[[Side], float | None]:
    return lambda side: (side.interval("dli") or (None, None))[which]


def _seen(get: Callable[[LooksAndGets], Any]) -> Callable[[Side], Any]:
    return lambda side: None if side.looks is None else get(side.looks)


def _usable(side: Side) -> float | None:
    fraction = side.analysis.usable_fraction(side.receiver)
    return fraction.default if fraction else None


def _light_of(side: str) -> Callable[[Pair], dict[str, Any]]:
    def get(pair: Pair) -> dict[str, Any]:
        row: Side = getattr(pair, side)
        return as_json(LIGHT, row) | {"looks": looks_json(row.looks)}

    return get


def _under(one: Field, side: str) -> Field:
    """A figure under one of the two, as a column of its own."""
    return replace(one, name=f"{one.name}_{side}", get=lambda p: one.get(getattr(p, side)), key="", at={})


def _beside(one: Field, **at: float) -> Field:
    """A figure under A and under B in one column for people."""
    return said(
        f"{one.name}_beside",
        f"{one.head} A{ARROW}B",
        lambda pair: pair.both(one.shown),
        unit=one.canonical_unit.strip(),
        kind=one.kind,
        fold=one.fold,
        at=_in(**at),
    )


def _under_b(one: Field) -> Callable[[Pair], Any]:
    return lambda pair: one.get(pair.b)


def _in(**at: float) -> dict[str, float]:
    return {f"compared-{table}": rank for table, rank in at.items()}


_DOSE: Final = {one.name: one for one in OF_DOSE}
JUDGED_OF: Final = (_DOSE["group"], *JUDGED)

# fmt: off
OF_SIDE: Final = (
    _DOSE["dli_mol_m2_d"],
    Field("dli_low_95_mol_m2_d", "DLI, low end", _end(0), "dli", "lower end, 95 %"),
    Field("dli_high_95_mol_m2_d", "DLI, high end", _end(1), "dli", "upper end, 95 %"),
    *(_DOSE[name] for name in ("peak_ppfd_umol_m2_s", "photoperiod_h", "peak_equivalent_h", "lux_at_peak")),
    Field("white_lux_at_peak", "white light", _seen(lambda seen: seen.white.lux), "lux",
          "illuminance of white LED light with the same photons"),
    Field("chromaticity_x", "x", _seen(lambda seen: seen.appearance.chromaticity_xy[0]),
          what="CIE 1931, at the peak"),
    Field("chromaticity_y", "y", _seen(lambda seen: seen.appearance.chromaticity_xy[1]),
          what="CIE 1931, at the peak"),
    Field("cct_k", "CCT", _seen(lambda seen: seen.appearance.cct_k), unit="K",
          what="correlated colour temperature, empty where it means nothing"),
    Field("usable_fraction", "usable share", _usable, what="usable share, not growth"),
)
"""Figures of one side that stand in the CSV for both."""

FIELDS: Final = (
    Field("kind", "kind", lambda p: "site" if p.coral is None else "coral", kind="string", key="",
          what="site or coral"),
    Field("name", "name", lambda p: p.name, kind="string", key="",
          what="of the site or coral, as both setups have it"),
    said("coral", "coral", lambda p: p.coral, kind="string", fold=True, at=_in(corals=0, splits=0, worth=0)),
    said("place", "site", lambda p: p.name, kind="string", fold=True, at=_in(sites=0, looks=0)),
    Field("site_a", "site in A", lambda p: p.a.place.name, kind="string", key="",
          what="where it stands in A"),
    Field("site_b", "site in B", lambda p: p.b.place.name, kind="string", key="",
          what="where it stands in B"),
    _beside(_DOSE["dli_mol_m2_d"], corals=1, sites=1),
    said("usual", "usual", lambda p: p.b.judged("band_dli"), show=lambda ends: range_text(*ends),
         at=_in(corals=2)),
    Field("dli_ratio", "photons\ntimes", lambda p: p.change.dli_ratio,
          what="DLI of B over A; empty where A is dark", show=lambda ratio: cell_factor(ratio),
          at=_in(corals=3, splits=1, sites=2)),
    said("state", "state\nA -> B", lambda p: p.coral and p.both(lambda side: brief_words(side.verdict)),
         kind="string", fold=True, at=_in(corals=4)),
    Field("interval_95_dli_ratio", "times,\n95 %", lambda p: p.change.interval_ratio, show=interval_text,
          at=_in(splits=2, sites=3),
          parts=(("dli_ratio_low_95", "lower end, 95 %, where both share their light field"),
                ("dli_ratio_high_95", "upper end, 95 %, where both share their light field"))),
    Field("ln_dli", "ln of photons", _split("ln_dli"), what="ln of the DLI ratio = ln_intensity + ln_time"),
    Field("ln_intensity", "brightness\ntimes", _split("ln_intensity"), what="ln of the ratio of peaks",
          show=_times, at=_in(corals=6, splits=3, sites=4)),
    Field("ln_time", "hours\ntimes", _split("ln_time"), what="ln of the ratio of peak-equivalent hours",
          show=_times, at=_in(corals=7, splits=4, sites=5)),
    Field("ln_colour", "colour by\nusable share", _split("ln_colour"),
          show=lambda span: colour_factor(span), at=_in(splits=5, sites=6),
          parts=tuple((f"ln_colour{end}",
                f"ln of the ratio of usable shares, not growth: {curve}") for end, curve in CURVES)),
    Field("ln_total", "ln of usable doses", _split("ln_total"),
          what="ln of the ratio of usable doses = ln_dli + ln_colour"),
    said("sites", "site", lambda p: p.both(lambda side: side.place.name), kind="string", fold=True,
         at=_in(corals=5)),
    *(_under(one, side) for one in OF_SIDE for side in "ab"),
    *(_under(_DOSE["dli_state"], side) for side in "ab"),
    replace(_DOSE["band_dli"], get=_under_b(_DOSE["band_dli"]), key="", at={},
            parts=tuple((name, f"{what}, in B") for name, what in _DOSE["band_dli"].parts)),
    *(Field(side, side.upper(), _light_of(side), csv=False) for side in "ab"),
    _beside(_DOSE["lux_at_peak"], sites=7),
    _beside(_DOSE["peak_ppfd_umol_m2_s"], corals=8, splits=6, sites=8),
    _beside(_DOSE["photoperiod_h"], corals=9, splits=7, sites=9),
    _beside(_DOSE["peak_equivalent_h"], splits=8, sites=10),
    _beside(_DOSE["colours"], splits=9, sites=11),
    _beside(_DOSE["interval_95_dli"], splits=10, sites=12),
    *(_beside(replace(one, get=_seen(one.get)), looks=1 + n) for n, one in enumerate(LOOKS[1:])),
    _beside(said("swatch", "swatch", _seen(lambda seen: swatch_text(seen.appearance))), looks=9),
    *(_beside(_DOSE[name], worth=1 + n) for n,
      name in enumerate(("hours_at_pmax_h", "hours_above_saturation_h",
            "photons_beyond_saturation_fraction"))),
    *(replace(_DOSE[name], get=_under_b(_DOSE[name]), csv=False, key="", at=_in(worth=4 + n)) for n,
      name in enumerate(("ek_range", "ek_model", "ek_source"))),
    Field("ln_shade", "of it by\nshade, times", _split("ln_shade"), show=_times,
          what="part of ln_dli by rock and colonies; empty where both hold the same",
          at=_in(splits=4.5, sites=3.5)),
)
# fmt: on


def compare_answer(comparison: Comparison) -> Answer:
    """Everything that `compare` says."""
    before, after = comparison.before, comparison.after
    safety = safety_lines(before, after)
    blocks = (
        Say(comparison.basis_sentence, "basis"),
        *compared(comparison),
        safety_section(safety),
        Section("", (Say(MORE, "note"),), extra=False, screens=False),
        *brief_cautions(safety),
        Say(closing_line(comparison), "verdict"),
    )
    rows = pairs_of(comparison, (*comparison.sites, *comparison.corals))
    return Answer(
        "compare",
        tuple(compared(comparison)) if comparison.same else blocks,
        lambda: _body(comparison),
        title=before.setup.title,
        basis=weaker_basis(before.basis, after.basis),
        judged={"before": before.judgement, "after": after.judgement},
        cautions=(*comparison.cautions, *safety),
        setups=(before.setup, after.setup),
        drawn=drawn_of(after),
        sheet=Sheet(FIELDS, rows),
        missed=any(v.dli_state not in ("within", "not_judged") for v in after.verdicts),
    )


def compared(comparison: Comparison, pictures: Sequence[Picture] = ()) -> list[Block]:
    """What differs, in words and tables; a page sets its figures behind these. One line if nothing does."""
    if comparison.same:
        return [Say(same_sentence(comparison))]
    corals = pairs_of(comparison, worst_changes_first(comparison.corals))
    sites = pairs_of(comparison, largest_changes_first(comparison.sites))
    ratios = [COMMON_CANCELS] if any(site.change.interval_ratio for site in sites) else []
    notes = tuple(Say(text, "note") for text in (NOT_GROWTH, *ratios, *comparison.notes))
    few = not corals
    return [
        *map(Say, lead_sentences(comparison)),
        _listed("corals", corals, brief=True, least=5, page_columns=6, **_concerns(corals)),
        _listed("splits", corals),
        _listed("worth", corals, note=EK_NOTE),
        _listed("sites", sites, brief=few, least=3, page_columns=10),
        *pictures,
        Section("", notes if sites else (), brief=few, paper=False),
        _listed("looks", sites, before=_looks(comparison)),
        Section("", (Say(running_sentence(comparison)),), paper=False),
        *_caution_sections(comparison),
    ]


def _concerns(pairs: Sequence[Pair]) -> dict[str, Any]:
    """Corals marked by their verdict under B; those that are within under both are counted."""
    changed = [getattr(pair.change, "changes_verdict", False) for pair in pairs]
    return concerns([pair.b.verdict for pair in pairs if pair.b.verdict], changed=changed)


TABLES: Final = {
    "corals": (
        "Corals: what gets worse, then what gets better, then the rest",
        "Daily dose of each coral under A and under B",
    ),
    "splits": ("What each change is made of", "Photons = brightness x hours, and what the colour adds"),
    "worth": (
        "What photosynthesis makes of both",
        "Photosynthesis under both, over each group's range of Ek",
    ),
    "sites": ("Sites, largest change first", "Light at each site under A and under B"),
    "looks": ("How bright it looks, what it gets", "What each site gets under both, and how bright it looks"),
}
"""Title and caption of each table."""


def _listed(
    key: str, pairs: Sequence[Pair], *, brief: bool = False, before: Sequence[Block] = (), **more: Any
) -> Section:
    """A table of both; a ratio's interval and the part of shade have a column only where one is known."""
    title, caption = TABLES[key]
    unknown = set() if any(pair.change.interval_ratio for pair in pairs) else {"interval_95_dli_ratio"}
    unknown |= set() if any(pair.change.split.ln_shade is not None for pair in pairs) else {"ln_shade"}
    made = table(
        f"compared-{key}",
        caption,
        [one for one in FIELDS if one.name not in unknown],
        pairs,
        strong=lambda pair: getattr(pair.change, "changes_verdict", False),
        lines_at_most=ROWS_SHOWN,
        left_out="further row",
        paper=key == "corals",
        **more,
    )
    return Section(title, (*before, made) if pairs else (), brief=brief, paper=key == "corals")


def _looks(comparison: Comparison) -> list[Block]:
    """What the brightest site under B gets, and how it looks, under both."""
    lit = [s for s in comparison.sites if s.after.looks is not None and s.before.looks is not None]
    brightest = sorted(lit, key=lambda s: s.after.dli_mol_m2_d)[-1:]
    told = [
        Point(f"{looks_sentence(side.looks)} Colour {side.look}.", f"{literal(pair.name)}, {letter}")
        for pair in pairs_of(comparison, brightest)
        for letter, side in (("A", pair.a), ("B", pair.b))
        if side.looks is not None
    ]
    return [Points(tuple(told)), Say(NOTE)] if told else []


def _caution_sections(comparison: Comparison) -> list[Section]:
    """What one alone gives cause to say, and what both do, but of others or of other amounts."""
    here, there = (
        {c.code: c for c in side.cautions if not is_safety(c)}
        for side in (comparison.before, comparison.after)
    )
    otherwise = [c for c in comparison.cautions if c.code in here]
    points = (
        replace(point, about=_how_many(here[caution.code], caution))
        for caution, point in zip(otherwise, pointed(otherwise), strict=True)
    )
    titled = (
        ("B gives cause for caution, A does not", pointed(c for c in there.values() if c.code not in here)),
        ("A gives cause for caution, B does not", pointed(c for c in here.values() if c.code not in there)),
        ("Cautions of both, as they read under B", tuple(points)),
    )
    return [Section(title, (Points(points),)) for title, points in titled if points]


def _how_many(a: Caution, b: Caution) -> str:
    """How many each concerns, where that is known and differs."""
    return f"{len(a.names)} under A, {len(b.names)} under B" if len(a.names) != len(b.names) else ""


def _body(comparison: Comparison) -> dict[str, Any]:
    """What the JSON holds; A first in every pair."""
    analyses = comparison.before, comparison.after
    sites, corals = (pairs_of(comparison, rows) for rows in (comparison.sites, comparison.corals))
    body: dict[str, Any] = {
        "basis_sentence": comparison.basis_sentence,
        "differences": list(comparison.differences),
        "sites": [_site_json(site, corals) for site in sites],
        "corals": [_coral_json(coral) for coral in corals],
        "notes": list(comparison.notes),
    }
    told = zip("ab", analyses, comparison.names, comparison.running, comparison.only, strict=True)
    for side, analysis, name, running, only in told:
        known = {"name": name, "title": analysis.setup.title, "basis": analysis.basis.key}
        body[side] = known | as_json(FIXTURE[1:], running)
        body[f"only_in_{side}"] = {"sites": list(only.sites), "corals": list(only.corals)}
    return body


def _site_json(pair: Pair, corals: Sequence[Pair]) -> dict[str, Any]:
    here = [coral for coral in corals if pair.name in (coral.a.place.name, coral.b.place.name)]
    return {"site": pair.name} | as_json(FIELDS, pair) | {"corals": [_states(coral) for coral in here]}


def _coral_json(pair: Pair) -> dict[str, Any]:
    sites = pair.each(lambda side: side.place.name)
    judged = pair.each(lambda side: as_json(JUDGED_OF, side))
    return _states(pair) | {"site": sites} | as_json(FIELDS, pair) | {"judged": judged}


def _states(pair: Pair) -> dict[str, Any]:
    return {"coral": pair.name, "dli_state": pair.each(lambda side: side.judged("dli_state"))}


def worst_changes_first(corals: tuple[CoralComparison, ...]) -> list[CoralComparison]:
    """Corals that get worse, then those that get better, then the rest; by verdict first, then by dose."""
    return sorted(corals, key=_rank)


def _rank(coral: CoralComparison) -> tuple[int, int, float, float]:
    step, away = _worsening(coral), _away(coral)
    way = step or away
    return (0 if way > 0 else 1 if way < 0 else 2), -abs(step), -abs(away), -coral.size


def largest_changes_first(sites: tuple[SiteComparison, ...]) -> list[SiteComparison]:
    """Sites by how much their dose changes; those that are dark under one first."""
    return sorted(sites, key=lambda s: -s.size)


def _worsening(coral: CoralComparison) -> int:
    """By how much its verdict gets worse; below 0 where it gets better."""
    return SEVERITY[coral.verdict_before.dli_verdict] - SEVERITY[coral.verdict_after.dli_verdict]


def _away(coral: CoralComparison) -> float:
    """By how many doublings its dose goes further from the usual range; below 0 where it comes nearer."""
    return round(octaves_off(coral.verdict_after) - octaves_off(coral.verdict_before), 9)


def same_sentence(comparison: Comparison) -> str:
    """That nothing differs, and how both stand."""
    stand = verdict_sentence(comparison.after.verdicts)
    return f"The two are the same: light, water, places and corals read alike in both; {stand}."


def lead_sentences(comparison: Comparison) -> list[str]:
    """What A and B are; what differs; what that does to photons and corals; what stands in one only."""
    a, b = map(literal, comparison.names)
    differences = "; ".join(map(literal, comparison.differences))
    told = f"B differs by: {differences}." if differences else "B differs in nothing that gives light."
    sentences = [f"A: {a}. B: {b}.", told, photons_sentence(comparison), *shade_sentences(comparison)]
    rows = advice_rows(comparison.after)
    first = [f"Under B, first: {rows[0].text}"] if rows and rows[0].action.kind != "leave" else []
    return [*sentences, *_state_sentences(comparison), *first, *only_sentences(comparison)]


def photons_sentence(comparison: Comparison) -> str:
    """What B gives in units of A, over all sites of both."""
    changes = [s for s in comparison.sites if s.dli_ratio]
    if not comparison.sites:
        return "No site stands in both, so no light can be set beside another."
    if not changes:
        return f"No site has light under both ({count(len(comparison.sites), 'site')})."
    ordered = sorted(changes, key=lambda s: s.dli_ratio or 0.0)
    low, high = ordered[0], ordered[-1]
    if len(changes) == 1 or factor(low.dli_ratio or 0.0) == factor(high.dli_ratio or 0.0):
        where = f"at {literal(low.site)}" if len(changes) == 1 else f"at all {len(changes)} sites"
        words = change_sentence(low)
        return f"{words[0].upper()}{words[1:]} ({where})."
    least, most = (f"{factor(s.dli_ratio or 0.0)} ({literal(s.site)})" for s in (low, high))
    far = max(changes, key=lambda change: change.size)
    return (
        f"B gives {least} to {most} times the photons of A. "
        f"Largest change, {literal(far.site)}: {change_sentence(far)}."
    )


def shade_sentences(comparison: Comparison) -> list[str]:
    """Where rock and colonies change most and least of it; nothing where both setups hold the same."""
    known = [(s.split.ln_shade, s.site) for s in comparison.sites if s.split.ln_shade is not None]
    if not known:
        return []
    least, most = (f"{factor(math.exp(ln))} ({literal(site)})" for ln, site in (min(known), max(known)))
    whole = f"{least} to {most}" if least != most else least
    return [f"Of that, the shade of rock and colonies makes {whole} times; the rest is the light itself."]


def _state_sentences(comparison: Comparison) -> list[str]:
    stand, stood = (verdict_sentence(side.verdicts) for side in (comparison.after, comparison.before))
    told = f"under both: {stand}" if stand == stood else f"under A: {stood}; under B: {stand}"
    lines = [f"Corals {told}."] if comparison.before.verdicts or comparison.after.verdicts else []
    changed = [c for c in worst_changes_first(comparison.corals) if c.changes_verdict]
    if changed:
        changing = count(len(changed), "coral changes", "corals change")
        lines.append(f"{changing[0].upper()}{changing[1:]} verdict: {_named(changed)}.")
    return lines


def _named(corals: list[CoralComparison]) -> str:
    parts = [f"{literal(c.coral)} from {state_change(c)}" for c in corals[:NAMED]]
    more = f" and {len(corals) - NAMED} more" if len(corals) > NAMED else ""
    return "; ".join(parts) + more


def state_change(coral: CoralComparison) -> str:
    """ "below to within", or one word where it stays."""
    a, b = (short_state(v.dli_verdict) for v in (coral.verdict_before, coral.verdict_after))
    return a if a == b else f"{a} to {b}"


def only_sentences(comparison: Comparison) -> list[str]:
    """Which sites and corals have no counterpart, and which sites are dark under one alone."""
    lines = []
    for label, only in zip("AB", comparison.only, strict=True):
        for what, names in (("site", only.sites), ("coral", only.corals)):
            if names:
                lines.append(f"In {label} only, not compared: {count(len(names), what)} ({_few(names)}).")
    for label in "AB":
        unlit = (site for site in comparison.sites if not site.dli_ratio)
        dark = [site.site for site in unlit if photon_words(site) == f"dark under {label}"]
        if dark:
            lines.append(f"Dark under {label}: {count(len(dark), 'site')} ({_few(dark)}).")
    return lines


def _few(names: Sequence[str]) -> str:
    more = f" and {len(names) - NAMED} more" if len(names) > NAMED else ""
    return ", ".join(map(literal, names[:NAMED])) + more


def running_sentence(comparison: Comparison) -> str:
    """Electricity of both."""
    a, b = comparison.running
    if a.energy_kwh_d is None or b.energy_kwh_d is None:
        return "Electricity not compared: a fixture file gives no electrical_w."
    return f"Electricity: {_running(a)} under A, {_running(b)} under B."


def _running(cost: RunningCost) -> str:
    text = f"{number(cost.energy_kwh_d or 0.0)} kWh/day"
    if cost.cost_per_year is not None:
        text += f" ({number(cost.cost_per_year)} {literal(cost.currency or '')}/year)"
    if cost.photon_efficacy_umol_j is not None:
        text += f", {number(cost.photon_efficacy_umol_j)} umol/J"
    return text


def next_step(comparison: Comparison) -> str:
    """What to run from here."""
    rises = [c for c in comparison.corals if c.dli_ratio is None or c.dli_ratio > STEEP]
    if rises:
        steep = max(rises, key=lambda c: c.dli_ratio or math.inf)
        more = (
            "light at all" if steep.dli_ratio is None else f"{cell_factor(steep.dli_ratio)} times the light"
        )
        return (
            f"Next: {literal(steep.coral)} would get {more} overnight; lightdose acclimate takes A to B in "
            "weekly steps (common practice, no published rule)"
        )
    return "Next: --figures DIR draws both days, spectra and splits"


def closing_line(comparison: Comparison) -> str:
    """The verdict of B, and the next step."""
    return f"Under B {verdict_sentence(comparison.after.verdicts)}. {next_step(comparison)}."
