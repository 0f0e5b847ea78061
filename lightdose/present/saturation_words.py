"""What light is worth to photosynthesis, in words: hours at Pmax, hours and photons beyond saturation."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from lightdose.model.coral import CoralGroup
from lightdose.model.results import Verdict
from lightdose.present.labels import PPFD_UNIT, literal, range_text

COLUMN_HEAD = "at Pmax        above Ek   beyond Ek\nh gross, tanh  h          % of photons"


def ek_basis(group: CoralGroup) -> str:
    """ "assumed", "low end assumed" and the like; empty where the whole range has a source."""
    return ek_stands_on(group.ek_source, assumed=True) if group.ek_assumed else ""


def ek_stands_on(source: str, *, assumed: bool) -> str:
    """What a range of Ek stands on, in a few words."""
    if assumed:
        last = source.rpartition(";")[2].strip()
        return last if last.endswith("assumed") else "no source given"
    return "computed from published data" if source.endswith("[C]") else source


def ek_fit(model: str) -> str:
    """Says where Ek comes from a fit of another curve than tanh, which lies above the others; else empty."""
    return "" if model == "tanh" else f"of a {model.title()} fit, tanh gives a little more"


def hours_span(ends: tuple[float, float]) -> str:
    """Hours over the range of Ek, to the tenth: "3.5-7.0", or "0.0" where both ends agree so far."""
    low, high = (f"{hours:.1f}" for hours in ends)
    return low if low == high else f"{low}-{high}"


def percent_span(ends: tuple[float, float]) -> str:
    """A share over the range of Ek in percent: "0-21"."""
    low, high = (f"{100 * share:.0f}" for share in ends)
    return low if low == high else f"{low}-{high}"


def saturation_cell(group: CoralGroup, verdict: Verdict) -> str:
    """A coral's figures for a wide table, in the columns of ``COLUMN_HEAD``; "-" without Ek or light."""
    at_pmax, above = verdict.hours_at_pmax_h, verdict.hours_above_saturation_h
    beyond = verdict.photons_beyond_saturation_fraction
    if at_pmax is None or above is None or beyond is None:
        return "-"
    figures = f"{hours_span(at_pmax):<15}{hours_span(above):<11}{percent_span(beyond):<7}"
    return f"{figures}{ek_basis(group)}".rstrip()


def saturation_fields(group: CoralGroup, verdict: Verdict) -> list[str]:
    """A coral's figures as fields of a piped record; none without Ek or light."""
    at_pmax, above = verdict.hours_at_pmax_h, verdict.hours_above_saturation_h
    beyond = verdict.photons_beyond_saturation_fraction
    if group.ek_range is None or at_pmax is None or above is None or beyond is None:
        return []
    basis = "; ".join(filter(None, (ek_basis(group), ek_fit(group.ek_model))))
    return [
        f"gross photosynthesis {hours_span(at_pmax)} h at Pmax (tanh)",
        f"above saturation {hours_span(above)} h",
        f"beyond saturation {percent_span(beyond)} % of photons",
        f"Ek {range_text(*group.ek_range)} {PPFD_UNIT}{f' ({basis})' if basis else ''}",
    ]


def saturation_sentence(group: CoralGroup, verdict: Verdict) -> str:
    """The same as a sentence for a page; empty without Ek or light."""
    at_pmax, above = verdict.hours_at_pmax_h, verdict.hours_above_saturation_h
    beyond = verdict.photons_beyond_saturation_fraction
    if group.ek_range is None or at_pmax is None or above is None or beyond is None:
        return ""
    stands_on = literal(ek_stands_on(group.ek_source, assumed=group.ek_assumed))
    basis = "; ".join(filter(None, (stands_on, ek_fit(group.ek_model))))
    return (
        f"Gross photosynthesis, by tanh, as of {hours_span(at_pmax)} h at Pmax; light above saturation for "
        f"{hours_span(above)} h, {percent_span(beyond)} % of the photons beyond it "
        f"(Ek {range_text(*group.ek_range)} {PPFD_UNIT}, {basis})."
    )


def most_saturated(groups: Mapping[str, CoralGroup], verdicts: Sequence[Verdict]) -> str:
    """A line for narrow windows: the coral with the largest share of photons beyond saturation."""
    known = [(v.photons_beyond_saturation_fraction, v) for v in verdicts]
    found = [(beyond[1], v) for beyond, v in known if beyond is not None]
    if not found:
        return ""
    most, verdict = max(found, key=lambda f: f[0])
    where = "each coral: a wider window, --csv"
    if most < 0.005:
        return f"beyond saturation: none of the photons; {where}"
    basis = ek_basis(groups[verdict.group])
    return (
        f"beyond saturation: up to {100 * most:.0f} % of the photons of {literal(verdict.coral)}"
        f"{f' (Ek {basis})' if basis else ''}; {where}"
    )
