"""`dose`: the day's light at every site and coral, and how it stands against what is usual.

Terminal, pipe and report print these sections; `report` sets figures and further sections between them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, Final

from lightdose.answers.advice import advice_json, advice_points, advice_section, command, doing
from lightdose.answers.answer import Answer, OverviewRow, drawn_of
from lightdose.answers.blocks import Block, Point, Points, Say, Section, Table, pointed
from lightdose.answers.field import NONE, Field, Sheet, as_json, said, table
from lightdose.answers.light import (
    FIELDS,
    MOL,
    OF_SITE,
    PPFD,
    Row,
    brightest,
    ranked,
    rows_of,
    told,
)
from lightdose.answers.verdicts import (
    SEVERITY,
    concerns,
    deciding_sentence,
    octaves_off,
    out_of_band,
    short_state,
    table_words,
    verdict_sentence,
    verdict_words,
    within_words,
    worst_first,
)
from lightdose.answers.words import (
    DLI_UNIT,
    USABLE_SHARE,
    count,
    named,
    number,
    percent,
    range_text,
    typed_path,
)
from lightdose.errors import literal
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis, Caution, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.quantities import BANDS, PPFD_BAND

BACKGROUND_FROM: Final = 11.5
"""From this place on, columns of corals are for those who ask for all: a page leaves them out."""

ROWS_SHOWN: Final = 24
"""Rows that a terminal shows of a long table unless everything is asked for. Our choice."""

NAMED_AT_MOST: Final = 5
NAMED_OF_MANY: Final = 3
TOGETHER: Final = 3
"""From so many corals on one side of their ranges one change for all of them comes first: our choice."""

STANDING: Final = frozenset(
    (
        "light_is_not_the_diagnosis",
        "usual_is_practice",
        "planar_ppfd",
        "violet_tail",
        "unmeasured",
        "energy_by_output",
        "energy_shared",
    )
)
"""Cautions that every answer carries, notes without a warning, or what the first line says already: short
answers count them."""

SAFETY_BRIEF: Final = (
    "Safety: never look into the emitters; unplug before touching gear over the water; drip loops, "
    "residual-current protection and a second hold for hanging gear; local codes and the maker's "
    "instructions come first (lightdose hazard)."
)

EK_NOTE: Final = (
    "Ek is the light at which photosynthesis begins to saturate, a range and never a constant of a species. "
    "Hours at Pmax: hours at the highest rate that would give the day's gross photosynthesis, by tanh; where "
    "Ek is of a Smith fit, tanh gives a little more than that curve. Gross: respiration, by day and by "
    "night, is not taken off."
)

# fmt: off
FIXTURE: Final = (
    Field("fixture", "fixture", lambda use: use.fixture, kind="string", fold=True, at={"energy": 0}),
    Field("energy_kwh_d", "energy", lambda use: use.energy_kwh_d, "energy", at={"energy": 1}),
    Field("cost_per_year", "cost a year", lambda use: use.cost_per_year, key="cost_per_year",
          at={"energy": 2}),
    Field("currency", "currency", lambda use: use.currency, kind="string", at={"energy": 3}),
    Field("photon_efficacy_umol_j", "photons 400-700 nm", lambda use: use.photon_efficacy_umol_j,
          "photon_efficacy", at={"energy": 4}),
)
INPUT: Final = (
    Field("what", "input", lambda one: one.what, kind="string", fold=True, at={"inputs": 0}),
    Field("spread", "known to", lambda one: one.spread, kind="string", fold=True, at={"inputs": 1}),
    Field("origin", "source", lambda one: one.origin, kind="string", fold=True, at={"inputs": 2}),
)
GROUP: Final = (
    said("group", "group", lambda g: g.name, kind="string", fold=True, at={"groups": 0}),
    said("usual", "usual DLI", lambda g: range_text(*g.band_dli) if g.band_dli else "not judged by light",
         unit=MOL, at={"groups": 1}),
    said("midday", "midday PPFD", lambda g: g.band_peak and range_text(*g.band_peak), unit=PPFD,
         at={"groups": 2}),
    said("floor", "floor", lambda g: g.floor_dli, show=lambda dose: f"{dose:g}", unit=MOL, at={"groups": 3}),
    said("ceiling", "ceiling", lambda g: g.ceiling_dli, show=lambda dose: f"{dose:g}", unit=MOL,
         at={"groups": 4}),
    said("grade", "grade", lambda g: g.grade, kind="string", at={"groups": 5}),
    said("evidence", "evidence", lambda g: "; ".join(t for t in (g.note, g.floor_harm) if t),
         kind="string", fold=True, at={"groups": 6}),
    said("sources", "sources", lambda g: ", ".join(g.sources), kind="string", fold=True, at={"groups": 7}),
)
# fmt: on


def dose_sheet(analysis: Analysis) -> Sheet:
    """The rows of `dose` as values."""
    return Sheet(FIELDS, rows_of(analysis))


def dose_answer(analysis: Analysis, unit: LengthUnit) -> Answer:
    """Everything that `dose` says."""
    return Answer(
        "dose",
        (
            Say(analysis.basis.sentence, "basis"),
            Say(headline(analysis), "strong"),
            answer_points(analysis, unit),
            advice_section(analysis, unit),
            corals_section(analysis, unit),
            sites_section(analysis, unit),
            channels_section(analysis),
            certainty_section(analysis),
            Section("What photosynthesis makes of it", (photosynthesis_table(analysis),), brief=False),
            cost_section(analysis),
            groups_section(analysis),
            cautions_section(analysis.cautions),
            safety_section(analysis.cautions),
            *brief_cautions(analysis.cautions),
            Say(closing_line(analysis), "verdict"),
        ),
        lambda: dose_body(analysis),
        title=analysis.setup.title,
        basis=analysis.basis.key,
        judged=analysis.judgement,
        cautions=analysis.cautions,
        setups=(analysis.setup,),
        drawn=drawn_of(analysis),
        sheet=dose_sheet(analysis),
        overview=overview(analysis),
        missed=any(v.dli_state not in ("within", "not_judged") for v in analysis.verdicts),
    )


def dose_body(analysis: Analysis) -> dict[str, Any]:
    """What the JSON of `dose` holds."""
    corals: dict[int, list[Row]] = {site: [] for site in range(len(analysis.setup.sites))}
    for row in rows_of(analysis):
        corals[row.site] += [row] if row.verdict else []
    full, by_channel = analysis.light_field.of("ppfd"), analysis.dose.dli_by_channel
    return {
        "bands_nm": {band.key: [band.low_nm, band.high_nm] for band in (PPFD_BAND, *BANDS)},
        "sites": [
            as_json(OF_SITE, Row(analysis, site))
            | {
                "full_output": _by_channel(analysis, "ppfd_umol_m2_s", full[site]),
                "by_channel": _by_channel(analysis, "dli_mol_m2_d", by_channel[site]),
                "corals": [as_json(FIELDS, row) for row in rows],
            }
            for site, rows in corals.items()
        ],
        "fixtures": [as_json(FIXTURE, use) for use in analysis.fixtures],
        "uncertainty": _uncertainty(analysis),
        **advice_json(analysis),
        **_shadows_json(analysis),
    }


def _shadows_json(analysis: Analysis) -> dict[str, Any]:
    """Corals dim for the shade of solids; no key where nothing solid is told."""
    if analysis.setup.standing is None:
        return {}
    from lightdose.answers.shadows import shadow_json

    return {"in_the_shade": shadow_json(analysis)}


def _by_channel(analysis: Analysis, key: str, values: FloatArray) -> list[dict[str, Any]]:
    channels = analysis.light_field.channels
    return [
        {"fixture": c.fixture, "channel": c.channel, key: float(value)}
        for c, value in zip(channels, values, strict=True)
    ]


def _uncertainty(analysis: Analysis) -> dict[str, Any] | None:
    """What was drawn, how often, and the one reading that would settle most."""
    known = analysis.uncertainty
    if known is None:
        return None
    deciding = known.deciding and {
        "site": known.deciding.site,
        "standard_uncertainty": known.deciding.standard_uncertainty,
        "undecided": known.deciding.undecided,
        "expected_to_settle": known.deciding.settles,
    }
    inputs = [as_json(INPUT, one) for one in known.inputs]
    return {"draws": known.draws, "seed": known.seed, "inputs": inputs, "deciding_reading": deciding}


def headline(analysis: Analysis) -> str:
    """How many corals get a usual amount of light, and of how many nobody can tell."""
    judged = analysis.judgement
    if not judged.judged:
        unjudged = bool(analysis.verdicts)
        what = "No coral here is judged by light" if unjudged else "No corals yet: doses without verdicts"
        return f"{what}."
    return f"{within_words(judged)}."


def answer_points(analysis: Analysis, unit: LengthUnit = "cm") -> Points:
    """From where to where the doses go, who is off, what to do first, and whom only a move serves."""
    found = (
        Point(span_sentence(analysis), "Doses"),
        Point(_unusual(analysis), "Not usual"),
        Point(_in_the_shade(analysis, unit), "In the shade"),
    )
    return Points((*(point for point in found if point.text), *advice_points(analysis, unit)))


def _in_the_shade(analysis: Analysis, unit: LengthUnit) -> str:
    if not analysis.shadows:
        return ""
    from lightdose.answers.shadows import shadow_sentences

    return shadow_sentences(analysis, unit)


def span_sentence(analysis: Analysis) -> str:
    """From which dose to which, and where."""
    sites = analysis.setup.sites
    if not sites:
        return "No sites and no corals: there is nothing to compute light for."
    if analysis.verdicts:
        order = sorted(analysis.verdicts, key=lambda v: v.dli_mol_m2_d)
        ends = [(v.coral, v.dli_mol_m2_d) for v in (order[0], order[-1])]
        where = ""
    else:
        doses = sorted((float(dli), site.name) for dli, site in zip(analysis.dose.dli, sites, strict=False))
        ends = [(name, dli) for dli, name in (doses[0], doses[-1])]
        where = f" at {count(len(sites), 'site')}"
    (dim, low), (bright, high) = ends
    if dim == bright:
        return f"{number(low)} {DLI_UNIT}{where} ({literal(dim)})."
    return f"{number(low)} ({literal(dim)}) to {number(high)} ({literal(bright)}) {DLI_UNIT}{where}."


def _unusual(analysis: Analysis) -> str:
    faultless = {s.coral for s in analysis.shadows if s.faultless}
    every = out_of_band(analysis.verdicts)
    off = [v for v in every if v.coral not in faultless]
    unjudged = sum(v.dli_state == "not_judged" for v in analysis.verdicts)
    if unjudged == len(analysis.verdicts):
        return ""
    at_home = len(every) - len(off)
    aside = f" {at_home} more are below in the shade that their group likes." if at_home else ""
    aside += f" Light does not judge {unjudged} more." if unjudged else ""
    if not off and faultless:
        return ""
    if not off:
        return f"No coral is known to get too little or too much.{aside}"
    if len(off) <= NAMED_AT_MOST:
        each = "; ".join(f"{literal(v.coral)}, {_dose_words(v)}: {verdict_words(v)}" for v in off)
        return f"{each}.{aside}"
    states = Counter(short_state(v.dli_verdict) for v in off if v.dli_verdict != "undecided")
    counted = ", ".join(f"{n} {words}" for words, n in states.items())
    furthest = named([literal(v.coral) for v in off[:NAMED_OF_MANY]])
    return f"{len(off)} corals: {counted}; furthest off {furthest}.{aside}"


def _dose_words(verdict: Verdict) -> str:
    usual = f", usual {range_text(*verdict.band_dli)}" if verdict.band_dli else ""
    where = f" {verdict.by_light}" if verdict.by_light else ""
    return f"{number(verdict.dli_mol_m2_d)} {DLI_UNIT}{where}{usual}"


def corals_section(analysis: Analysis, unit: LengthUnit) -> Section:
    """Each coral against what is usual, what would help those off it, and the limits behind the verdicts."""
    rows = ranked(analysis, unit)
    shown = told(rows)
    corals = table(
        "corals",
        f"Daily dose of {count(len(rows), 'coral')}, those of concern first",
        shown,
        rows,
        strong=lambda row: row.verdict.dli_verdict in ("far_below", "far_above"),
        **concerns([row.verdict for row in rows if row.verdict]),
        unit=MOL,
        least=4,
        wanted=1,
        lines_at_most=ROWS_SHOWN,
        left_out="more coral",
        page_columns=sum(one.at.get("corals", math.inf) < BACKGROUND_FROM for one in shown),
        page_leaves_out=("DLI, lying flat", "DLI from all sides", "judged on its face", "lit", "grade"),
        length_unit=unit,
        filters=(
            ("group", tuple(row.verdict.group_name for row in rows if row.verdict)),
            ("state", tuple(short_state(row.verdict.dli_verdict) for row in rows if row.verdict)),
        ),
        paper=True,
    )
    said_of = tuple(Point(row.verdict.advice, row.verdict.coral) for row in rows if row.verdict)
    limits = table(
        "limits",
        "Each coral against floor, usual range and ceiling",
        told(rows),
        rows,
        note="Under the floor is far below usual, over the ceiling far above. The dose leads: only high "
        "peaks are flagged, for a dim long day is fine.",
        length_unit=unit,
    )
    blocks: list[Block] = [corals]
    if said_of:
        told_of = (Points(said_of),)
        blocks.append(Section("Each coral in a sentence", told_of, brief=False, paper=False, folded=True))
    blocks.append(Section("Floors and ceilings", (limits,), brief=False, paper=False, folded=True))
    title = f"Each coral's daily dose against what is usual for its group, in {DLI_UNIT}"
    return Section(title, tuple(blocks) if rows else (), "corals", "Corals")


def sites_section(analysis: Analysis, unit: LengthUnit) -> Section:
    """How much light each site gets, for how long, and of what colour; brightest first."""
    rows = brightest(analysis, unit)
    amount = table(
        "sites",
        "Light at each site, brightest first",
        told(rows),
        rows,
        note="Full hours: hours at the peak that would give the same dose. Lit: time above 5 % of the peak.",
        left_out="dimmer site",
        length_unit=unit,
        paper=True,
    )
    colours = table(
        "colour",
        "Of what colour: photons of the day in each band",
        told(rows),
        rows,
        note=f"U{USABLE_SHARE[1:]}: what symbionts use of the photons of 400-700 nm; the "
        "default is the mean of the five curves with a named study. Below 420 nm the curves disagree.",
    )
    shown = (amount, Section("Colour", (colours,), paper=False)) if rows else ()
    return Section("The light at each site", shown, "sites", "Sites", brief=False)


def channels_section(analysis: Analysis) -> Section:
    """What each channel gives each site: in the day, and at full output."""
    tables = [
        _channel_table(analysis, "channel-doses", "Daily dose from each channel", "dli_by_channel", MOL),
        _channel_table(analysis, "full-output", "PPFD from each channel at full output", "ppfd", PPFD),
    ]
    return Section("Each channel's part at each site", tuple(tables), brief=False, paper=False, folded=True)


def _channel_table(analysis: Analysis, key: str, caption: str, of: str, unit: str) -> Table:
    values = analysis.light_field.of(of) if of == "ppfd" else getattr(analysis.dose, of)
    several = len(analysis.setup.lit_fixtures) > 1
    columns = [said("site", "site", lambda row: row.place.name, kind="string", fold=True, at={key: 0})]
    for n, c in enumerate(analysis.light_field.channels):
        head = f"{c.fixture}: {c.channel}" if several else c.channel
        columns.append(said(f"{key}-{n}", head, _at(values, n), unit=unit, at={key: 1 + n}))
    return table(key, caption, columns, brightest(analysis))


def _at(values: FloatArray, channel: int) -> Callable[[Row], float]:
    return lambda row: float(values[row.site, channel])


def certainty_section(analysis: Analysis) -> Section:
    """How likely each state is, how that came about, and which reading would tell."""
    known = analysis.uncertainty
    if known is None:
        return Section("", (), terminal=False, screens=False)
    rows = ranked(analysis)
    caption = "How likely each coral's dose lies where, and the reading that would tell"
    blocks: list[Block] = [*map(Say, certainty_sentences(analysis))]
    if rows:
        blocks.append(table("certainty", caption, FIELDS, rows))
    caption = "What was drawn: one standard uncertainty each, where nothing else is said"
    blocks.append(table("inputs", caption, INPUT, known.inputs))
    return Section("How sure this is", tuple(blocks), "certainty", "How sure", brief=False, paper=False)


def certainty_sentences(analysis: Analysis) -> list[str]:
    """How the intervals came about, and which reading would tell most."""
    known = analysis.uncertainty
    if known is None:
        return []
    sentences = [
        analysis.basis.sentence,
        f"What is not known exactly was drawn {known.draws:,} times, the same way each time (seed "
        f"{known.seed}), and the light followed through for each draw. The intervals hold 95 % of the "
        "results.",
        "A coral is undecided where no state has a chance of 2 in 3 (our choice).",
    ]
    if deciding := deciding_sentence(analysis):
        sentences.append(deciding)
    if known.deciding is not None:
        sentences.append(
            f"That reading counts as known to {percent(known.deciding.standard_uncertainty)} (one standard "
            f"uncertainty) and is expected to settle {known.deciding.settles:.1f} of "
            f"{count(known.deciding.undecided, 'open verdict')}."
        )
    return sentences


def photosynthesis_table(analysis: Analysis) -> Table:
    """What photosynthesis makes of the day, over each group's range of Ek."""
    return table(
        "photosynthesis",
        "Photosynthesis over each group's range of Ek",
        FIELDS,
        ranked(analysis),
        note=EK_NOTE,
    )


def cost_section(analysis: Analysis) -> Section:
    """Electricity of each fixture."""
    note = "A dash stands where the fixture's file names no power, or the setup no price."
    shared = (caution.text for caution in analysis.cautions if caution.code == "energy_shared")
    note = " ".join([note, *shared])
    energy = table("energy", "Electricity of each fixture", FIXTURE, analysis.fixtures, note=note, paper=True)
    return Section("Energy and cost", (energy,), "cost", "Energy and cost", brief=False)


def groups_section(analysis: Analysis) -> Section:
    """The usual light of the groups here, with grade and sources."""
    keys = dict.fromkeys(v.group for v in worst_first(analysis.verdicts))
    groups = [analysis.setup.groups[key] for key in keys]
    cited = dict.fromkeys(key for group in groups for key in group.sources)
    known = analysis.setup.group_sources
    citations = tuple(Point(known[key], key) for key in cited if key in known)
    blocks = (table("groups", "Usual light of the groups here", GROUP, groups), Points(citations))
    return Section(
        "What is usual, and who says so", blocks, "groups", "What is usual", brief=False, paper=False
    )


def is_safety(caution: Caution) -> bool:
    """Whether a caution is one of the short safety lines that go with every answer."""
    return caution.code.startswith("safety_")


def safety_lines(*analyses: Analysis) -> tuple[Caution, ...]:
    """The lines on safety, each once: of the light that reaches a limit soonest."""
    lines: dict[str, Caution] = {}
    for analysis in sorted(analyses, key=_soonest_limit_s):
        lines |= {c.code: c for c in analysis.cautions if is_safety(c) and c.code not in lines}
    return tuple(lines.values())


def _soonest_limit_s(analysis: Analysis) -> float:
    reached = [limit.full_output_s for view in analysis.hazards if (limit := view.soonest())]
    return min((s for s in reached if s is not None), default=math.inf)


def safety_section(cautions: Sequence[Caution]) -> Section:
    """The safety lines in full."""
    points = (Points(pointed([c for c in cautions if is_safety(c)])),)
    return Section("Safety", points, "safety", "Safety", brief=False)


def cautions_section(cautions: Sequence[Caution]) -> Section:
    """Cautions and limits in full."""
    points = (Points(pointed([c for c in cautions if not is_safety(c)])),)
    return Section("Cautions and limits", points, "cautions", "Cautions", brief=False, paper=False)


def brief_cautions(cautions: Sequence[Caution]) -> list[Block]:
    """For a short answer: the cautions of this tank, how many stand behind every answer, and safety."""
    own = [c for c in cautions if not is_safety(c) and c.code not in STANDING]
    rest = sum(not is_safety(c) for c in cautions) - len(own)
    more = [f"{count(rest, 'caution')} on what these figures can tell, and sources: --all."] if rest else []
    safety = [SAFETY_BRIEF] if any(map(is_safety, cautions)) else []
    lines = tuple(Say(text, "note") for text in (*more, *safety))
    points = Points(tuple(replace(point, source="") for point in pointed(own)))
    return [Section("", (points, *lines), screens=False, extra=False)]


def overview(analysis: Analysis) -> OverviewRow:
    """How the corals of a setup stand, the one furthest off, and the energy of a day, for many setups."""
    ranking = worst_first(analysis.verdicts)
    severities = [SEVERITY[v.dli_verdict] for v in ranking]
    worst = severities[0] if severities else SEVERITY["not_judged"]
    off = sum(s < SEVERITY["undecided"] for s in severities)
    known = [use.energy_kwh_d for use in analysis.fixtures if use.energy_kwh_d is not None]
    energy = number(sum(known)) if known and len(known) == len(analysis.fixtures) else NONE
    first = analysis.advice.actions if analysis.advice else ()
    cells = (
        ("within", str(severities.count(SEVERITY["within"]))),
        ("off", str(off)),
        ("undecided", str(severities.count(SEVERITY["undecided"]))),
        ("do first", doing(first[0]) if first else NONE),
        ("worst coral", _in_overview(ranking[0]) if worst < SEVERITY["within"] else NONE),
        ("kWh/day", energy),
        ("title", analysis.setup.title),
        ("basis", analysis.basis.key),
    )
    furthest = max((octaves_off(v) for v in ranking if SEVERITY[v.dli_verdict] == worst), default=0.0)
    return OverviewRow(cells, STANDINGS[worst], (1.0 + worst, -furthest, -float(off)))


STANDINGS: Final = ("far off usual", "off usual", "not told yet", "as usual", "without judged corals")
"""How a setup stands by its worst coral, in the order of ``SEVERITY``."""


def _in_overview(verdict: Verdict) -> str:
    return f"{verdict.coral}: DLI {number(verdict.dli_mol_m2_d)}, {table_words(verdict)}"


def closing_line(analysis: Analysis) -> str:
    """The verdict, and the next useful command."""
    verdict = verdict_sentence(analysis.verdicts)
    return f"{verdict[0].upper()}{verdict[1:]}. Next: {next_command(analysis)}"


def next_command(analysis: Analysis) -> str:
    """The command that helps most from here."""
    setup = analysis.setup
    path = typed_path(setup)
    if not setup.sites:
        return f"add a [[site]] to {path}, then lightdose dose {path}"
    actions = analysis.advice.actions if analysis.advice else ()
    told = next((words for action in actions if (words := command(setup, action))), None)
    return told or f"lightdose dose {path} --figures figures"
