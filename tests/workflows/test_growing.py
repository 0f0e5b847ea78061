"""Growing colonies: who shades whom, when corals fall below their range, and what to cut."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from answers.printed import piped

from lightdose import read_setup
from lightdose.analysis import analyse
from lightdose.answers.growing import growing_answer, months_words
from lightdose.errors import SetupError
from lightdose.model.growing import Growing
from lightdose.model.setup import Coral, Setup
from lightdose.model.solids import Growth
from lightdose.workflows.growing import growing, grown, months_of

LOW = 1.0
CUBE = Path(__file__).parents[2] / "examples" / "crowded-cube" / "setup.toml"


def two_corals(growth: Growth | None) -> Setup:
    """A tank with a table over a zoanthid, and nothing else that shades."""
    setup = read_setup(CUBE)
    setup = replace(setup, fixtures=setup.fixtures[:1])
    sites = {s.name: s for s in setup.sites}
    low = replace(sites["Sand vorn 3"], x_m=0.25, y_m=0.25, depth_m=0.30)
    high = replace(sites["Gipfel vorn"], x_m=0.25, y_m=0.25, depth_m=0.17)
    tall = Coral("table", "sps-plating", high.name, form="table", diameter_m=0.06, height_m=0.05)
    corals = (replace(tall, growth=growth), Coral("under it", "zoanthid", low.name, band_dli=(LOW, 9.0)))
    return replace(setup, sites=(low, high), corals=corals, unplaced=())


@pytest.fixture(scope="module")
def told() -> Growing:
    """Six months in which the table grows by 2 cm a month."""
    return growing(analyse(two_corals(Growth(0.02)), certainty=False), 6.0)


@pytest.mark.identity
def test_months_of_a_year_hold_those_that_are_told() -> None:
    """0, quarters, and 3, 6, 12 months, each once."""
    assert months_of(12) == (0.0, 3.0, 6.0, 9.0, 12.0)
    assert {3.0, 6.0, 8.0} <= set(months_of(8))


@pytest.mark.identity
def test_no_time_changes_nothing_and_sizes_grow_linearly() -> None:
    """Diameter and height grow by their rate times the months, heights up to the surface."""
    setup = two_corals(Growth(0.02, 0.01))
    assert grown(setup, 0.0).corals == setup.corals
    table = grown(setup, 4.0).corals[0]
    assert (table.diameter_m, table.height_m) == pytest.approx((0.14, 0.09))
    assert grown(setup, 40.0).corals[0].height_m == pytest.approx(0.17)


@pytest.mark.identity
def test_a_setup_in_some_months_has_the_doses_that_are_told(told: Growing) -> None:
    """The dose in six months is that of a setup whose table is as wide."""
    then = analyse(grown(two_corals(Growth(0.02)), 6.0), certainty=False)
    verdict = next(v for v in then.verdicts if v.coral == "under it")
    assert told.dli["under it"][-1] == pytest.approx(verdict.dli_mol_m2_d, rel=0.01)
    assert told.dli["under it"][0] > told.dli["under it"][-1]


@pytest.mark.identity
def test_the_crossing_lies_between_the_months_around_it(told: Growing) -> None:
    """Above the low end before, below it after; and the colony that did it is named."""
    (fall,) = told.falls
    before = max(n for n, m in enumerate(told.months) if m <= fall.months)
    doses = told.dli["under it"]
    assert doses[before] >= fall.band_dli[0] > doses[before + 1]
    assert fall.months_range == (fall.months / 2, fall.months * 2)
    assert next(iter(fall.by)) == "table"
    assert told.shadings[0].by == "table"


@pytest.mark.identity
def test_the_advised_cut_is_enough_and_a_centimetre_more_is_not(told: Growing) -> None:
    """At the advised diameter the coral below stays in its range; 2 cm wider it does not."""
    (trim,) = told.trims
    assert trim.coral == "table"
    assert trim.keeps == ("under it",)
    assert trim.to_m is not None
    for size, enough in ((trim.to_m, True), (trim.to_m + 0.02, False)):
        setup = two_corals(None)
        setup = replace(setup, corals=(replace(setup.corals[0], diameter_m=size), setup.corals[1]))
        dose = next(v for v in analyse(setup, certainty=False).verdicts if v.coral == "under it").dli_mol_m2_d
        assert (dose >= LOW) == enough


@pytest.mark.identity
def test_without_any_growth_the_cure_is_said() -> None:
    """One sentence, with the key to add; a rate for all does too."""
    analysis = analyse(two_corals(None), certainty=False)
    with pytest.raises(SetupError, match="no coral tells how its colony grows"):
        growing(analysis, 3.0)
    assert growing(analysis, 3.0, Growth(0.01, 0.005)).growing == ("table",)


@pytest.mark.pinned
def test_the_answer_says_what_to_cut_and_when(told: Growing) -> None:
    """The sentence names colony, size, whom it keeps from falling, and the months."""
    text = "\n".join(piped(growing_answer(told, "cm"), everything=True))
    (trim,) = told.trims
    assert f"table (6 cm now, 18 cm then): keep it at {100 * trim.to_m:g} cm, or move under it" in text  # type: ignore[operator]
    assert months_words(4.2, (2.1, 8.4)) == "4 (2-8)"
