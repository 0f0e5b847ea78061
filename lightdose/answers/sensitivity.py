"""`sensitivity`: what plausible changes do to the light of every site and coral, worst first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from operator import itemgetter
from typing import Any, Final

from lightdose.answers.answer import Answer, drawn_of
from lightdose.answers.blocks import Points, Say, Section
from lightdose.answers.field import NONE, Field, Sheet, as_json, plain, said, table
from lightdose.answers.verdicts import OPEN, short_state, verdict_sentence
from lightdose.answers.words import STATE_WORDS, count, typed_path
from lightdose.model.changes import CaseOutcome, CoralOutcome, Sensitivity, SiteOutcome
from lightdose.model.record import dataclass
from lightdose.model.results import DliVerdict

CASES_SHOWN: Final = 16
NAMED_AT_MOST: Final = 2
KINDS_AT_MOST: Final = 4
OURS: Final = "Sizes of the changes: our choice, no published source; add your own with --case."


@dataclass(frozen=True)
class Row:
    """A case; a case at a site; or a case, a site and one of its corals."""

    outcome: CaseOutcome
    site: SiteOutcome | None = None
    coral: CoralOutcome | None = None

    @property
    def compared_with(self) -> str:
        """What the ratios are relative to."""
        before = self.outcome.case.baseline
        return " and ".join(f"{c.kind} {c.amount:g}" for c in before) if before else "today"

    @property
    def span(self) -> str:
        """Ratios of all sites: "0.75-0.93", or one number."""
        if not self.outcome.ratios:
            return NONE
        low, high = (f"{end(self.outcome.ratios):.2f}" for end in (min, max))
        return low if low == high else f"{low}-{high}"

    @property
    def changes(self) -> str:
        """Whose verdict changes, "plating cap: below"; of many how many come to what: "3 within"."""
        corals = sorted(self.outcome.changed, key=lambda c: not c.worsens)
        if len(corals) <= NAMED_AT_MOST:
            return "; ".join(f"{c.coral}: {_brief(c.told)}" for c in corals)
        states = Counter(_brief(c.told) for c in corals)
        told = states.most_common() if len(states) <= KINDS_AT_MOST else states.most_common(KINDS_AT_MOST - 1)
        more = len(corals) - sum(n for _, n in told)
        return ", ".join(f"{n} {state}" for state, n in told) + (f" and {more} more" if more else "")

    @property
    def states(self) -> str:
        """How the corals of the site stand."""
        if self.site is None or self.site.dli_mol_m2_d is None:
            return state_words(None)
        return ", ".join(dict.fromkeys(state_words(c.told) for c in self.site.corals))


def _brief(state: DliVerdict | None) -> str:
    return state_words(None) if state is None else short_state(state)


def state_words(state: DliVerdict | None) -> str:
    """A verdict in words; None is dry."""
    if state is None:
        return "above the water"
    return OPEN if state == "undecided" else STATE_WORDS[state]


def _two(ratio: float) -> str:
    return f"{ratio:.2f}"


def _of(part: str, name: str) -> Callable[[Row], Any]:
    return lambda row: getattr(getattr(row, part), name, None)


# fmt: off
CASE: Final = (
    Field("case", "case", lambda r: r.outcome.case.name, kind="string", what="what is different", fold=True,
          at={"cases": 0, "site": 0}),
    Field("values_by", "values by", lambda r: r.outcome.case.source, kind="string",
          what="whose values these are: our choice, or yours"),
    Field("compared_with", "compared with", lambda r: r.compared_with, kind="string",
          what="what dli_ratio is relative to"),
    Field("remark", "remark", lambda r: r.outcome.remark, csv=False),
    said("span", "dose times", lambda r: r.span, at={"cases": 1}),
    said("within", "within", lambda r: r.outcome.counts and r.outcome.counts["within"], kind="integer",
         at={"cases": 1.5}),
    Field("counts", "counts", lambda r: r.outcome.counts, csv=False),
    said("changes", "corals whose verdict changes", lambda r: r.changes, kind="string", fold=True,
         at={"cases": 2}),
)
SITE: Final = (
    Field("site", "site", _of("site", "site"), kind="string"),
    Field("site_dli_ratio", "dose times", _of("site", "dli_ratio"), show=_two, at={"site": 1},
          what="the site's dose over that before"),
    Field("site_dli_mol_m2_d", "DLI", _of("site", "dli_mol_m2_d"), "dli", at={"site": 2},
          what="the site's photons of 400-700 nm in the day"),
    said("states", "state", lambda r: r.states, kind="string", at={"site": 3}),
)
CORAL: Final = (
    Field("coral", "coral", _of("coral", "coral"), kind="string"),
    Field("group", "group", _of("coral", "group"), kind="string"),
    Field("dli_ratio", "times", _of("coral", "dli_ratio"), what="the coral's dose over that before"),
    Field("dli_mol_m2_d", "DLI", _of("coral", "dli_mol_m2_d"), "dli",
          "the coral's photons of 400-700 nm in the day"),
    Field("dli_state_before", "before", _of("coral", "dli_state_before"), kind="string"),
    Field("dli_state", "state", _of("coral", "dli_state"), kind="string",
          what="by the calculated dose; empty where the coral stands above the water"),
    Field("dli_verdict_before", "verdict before", _of("coral", "dli_verdict_before"), kind="string",
          what="the state with 2 in 3 of all that is not known, or undecided"),
    Field("dli_verdict", "verdict", _of("coral", "dli_verdict"), kind="string",
          what="the same in the case"),
)
FIELDS: Final = (*CASE, *SITE, *CORAL)
ENDS: Final = tuple(
    said(head, head, itemgetter(n), kind="string", fold=True, at={"ends": n}) for n,
          head in enumerate(("site", "least", "most"))
)
# fmt: on


def sensitivity_answer(tried: Sensitivity, sites: Sequence[str] = ()) -> Answer:
    """How corals stand today, the cases worst first, each site's ends, and every case at ``sites``."""
    analysis = tried.analysis
    cases = table(
        "cases",
        "What plausible changes do, worst first",
        FIELDS,
        [Row(outcome) for outcome in tried.outcomes],
        strong=lambda row: any(c.worsens for c in row.outcome.changed),
        least=3,
        lines_at_most=CASES_SHOWN,
        left_out="smaller case",
    )
    ends = table("ends", "Each site's least and most", ENDS, list(_ends(tried)), least=3)
    remarks = [f"{o.case.name}: {o.remark}" for o in tried.outcomes if o.remark]
    return Answer(
        "sensitivity",
        (
            Say(analysis.basis.sentence, "basis"),
            Say(f"Today: {verdict_sentence(analysis.verdicts)}. Doses below are times today's."),
            cases,
            Section("Each site's least and most", (ends,), brief=False),
            *(_at_site(tried, name) for name in sites),
            Section("", (Points.of([*remarks, *(f"not computed: {s}" for s in tried.skipped)]),)),
            Say(OURS, "note"),
            Say(closing_line(tried), "verdict"),
        ),
        lambda: {
            "cases": [as_json(CASE, Row(o)) | {"sites": plain(o.sites)} for o in tried.outcomes],
            "skipped": list(tried.skipped),
        },
        title=analysis.setup.title,
        basis=analysis.basis.key,
        judged=analysis.judgement,
        cautions=analysis.cautions,
        setups=(analysis.setup,),
        drawn=drawn_of(analysis),
        sheet=Sheet(FIELDS, list(_rows(tried))),
    )


def _rows(tried: Sensitivity) -> Iterator[Row]:
    """One row a case and coral, and one for each site without corals."""
    for outcome in tried.outcomes:
        for site in outcome.sites:
            yield from (Row(outcome, site, coral) for coral in site.corals or (None,))


def _ends(tried: Sensitivity) -> Iterator[tuple[str, str, str]]:
    """Each site with the cases of its lowest and its highest ratio; only those compared with today."""
    for index, site in enumerate(tried.analysis.setup.sites):
        cases = [
            (ratio, o.case.name)
            for o in tried.outcomes
            if not o.case.baseline and (ratio := o.sites[index].dli_ratio) is not None
        ]
        if cases:
            low, high = (f"{ratio:.2f} {name}" for ratio, name in (min(cases), max(cases)))
            yield site.name, low, high


def _at_site(tried: Sensitivity, name: str) -> Section:
    """Every case at one site, largest change first."""
    index = [s.name for s in tried.analysis.setup.sites].index(name)

    def change(outcome: CaseOutcome) -> float:
        ratio = outcome.sites[index].dli_ratio
        return 0.0 if ratio is None else -max(ratio, 1 / max(ratio, 1e-9))

    title = f"Every case at {name}, largest change first"
    rows = [Row(outcome, outcome.sites[index]) for outcome in sorted(tried.outcomes, key=change)]
    return Section(title, (table("site", title, FIELDS, rows, least=4),))


def closing_line(tried: Sensitivity) -> str:
    """The verdict, and the next useful command."""
    setup = tried.analysis.setup
    following = f"Next: lightdose survey {typed_path(setup)}"
    if not setup.sites:
        return f"No sites: there is nothing to compare. {following}"
    cases = count(len(tried.outcomes), "case")
    if not tried.analysis.verdicts:
        return f"{cases}; no corals to judge. {following}"
    bad = [o for o in tried.outcomes if any(c.worsens for c in o.changed)]
    if not bad:
        return f"None of {cases} brings a coral farther from usual. {following}"
    corals = count(sum(c.worsens for c in bad[0].changed), "coral")
    brings = "brings a coral" if len(bad) == 1 else "bring a coral"
    worst = f"most: {bad[0].case.name} ({corals})"
    return f"{len(bad)} of {cases} {brings} farther from usual; {worst}. {following}"
