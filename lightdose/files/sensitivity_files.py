"""Sensitivity as one versioned JSON object, and as CSV with its Table Schema."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any, Final

from lightdose.files.dialect import Cell, Dialect, csv_text, table_schema
from lightdose.model.sensitivity import CaseOutcome, Sensitivity, SiteOutcome
from lightdose.quantities import ValueColumn as Column

SENSITIVITY_FORMAT = "lightdose-sensitivity/1"

COLUMNS: Final = (
    Column("case", "string", "what is different"),
    Column("values_by", "string", "whose values these are: our choice, or yours"),
    Column("compared_with", "string", "what dli_ratio is relative to"),
    Column("site", "string"),
    Column("site_dli_ratio", title="the site's dose over that before"),
    Column("site_dli_mol_m2_d", title="the site's photons of 400-700 nm in the day", unit="mol m-2 d-1"),
    Column("coral", "string"),
    Column("group", "string"),
    Column("dli_ratio", title="the coral's dose over that before"),
    Column("dli_mol_m2_d", title="the coral's photons of 400-700 nm in the day", unit="mol m-2 d-1"),
    Column("dli_state_before", "string"),
    Column("dli_state", "string", "empty where the coral stands above the water"),
)


def sensitivity_json(found: Sensitivity) -> dict[str, Any]:
    """Every case, worst first, with every site and its corals."""
    analysis = found.analysis
    return {
        "format": SENSITIVITY_FORMAT,
        "title": analysis.setup.title,
        "basis": analysis.basis.key,
        "cases": [_case(outcome) for outcome in found.outcomes],
        "skipped": list(found.skipped),
        "provenance": {"version": analysis.version, "inputs_sha256": dict(analysis.setup.inputs_sha256)},
    }


def compared_with(outcome: CaseOutcome) -> str:
    """What a case's ratios are relative to."""
    if not outcome.case.baseline:
        return "today"
    return " and ".join(f"{c.kind} {c.amount:g}" for c in outcome.case.baseline)


def _case(outcome: CaseOutcome) -> dict[str, Any]:
    return {
        "case": outcome.case.name,
        "values_by": outcome.case.source,
        "compared_with": compared_with(outcome),
        "remark": outcome.remark,
        "sites": [_site(site) for site in outcome.sites],
    }


def _site(site: SiteOutcome) -> dict[str, Any]:
    return {
        "site": site.site,
        "dli_ratio": site.dli_ratio,
        "dli_mol_m2_d": site.dli_mol_m2_d,
        "dli_state": site.dli_state,
        "corals": [
            {
                "coral": c.coral,
                "group": c.group,
                "dli_ratio": c.dli_ratio,
                "dli_mol_m2_d": c.dli_mol_m2_d,
                "dli_state_before": c.state_before,
                "dli_state": c.dli_state,
            }
            for c in site.corals
        ],
    }


def sensitivity_csv(found: Sensitivity, dialect: Dialect = "plain") -> str:
    """One row a case and coral, and one for each site without corals; worst case first."""
    return csv_text([c.name for c in COLUMNS], _rows(found), dialect)


def sensitivity_schema(dialect: Dialect = "plain") -> str:
    """JSON text of the Table Schema of ``sensitivity_csv``."""
    return json.dumps(table_schema(COLUMNS, dialect), indent=2) + "\n"


def _rows(found: Sensitivity) -> Iterator[list[Cell]]:
    for outcome in found.outcomes:
        head: list[Cell] = [outcome.case.name, outcome.case.source, compared_with(outcome)]
        for site in outcome.sites:
            place: list[Cell] = [site.site, site.dli_ratio, site.dli_mol_m2_d]
            if not site.corals:
                yield [*head, *place, None, None, None, None, None, None]
            for c in site.corals:
                own: list[Cell] = [c.coral, c.group, c.dli_ratio, c.dli_mol_m2_d, c.state_before, c.dli_state]
                yield [*head, *place, *own]
