"""The figures of `compare` and of looks: what they show, and that their words stand apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from judge.made_tank import made_tank
from matplotlib.colors import to_hex
from present.text_boxes import misplaced_words

from lightdose.analysis import site_days, site_spectra
from lightdose.judge.map_choice import shown_sites
from lightdose.model.comparison import Comparison
from lightdose.model.fixture import Programme
from lightdose.model.setup import Coral, Site
from lightdose.present.figures.canvas import Drawing
from lightdose.present.figures.comparison import PARTS, comparison_drawings
from lightdose.present.figures.explaining import looks_drawing
from lightdose.workflows.compare import compare

TANK = made_tank()
ODD = "$x_1$ </script> \U0001f420 " + "nam e" * 38


def drawings_of(found: Comparison) -> dict[str, Drawing]:
    shown = shown_sites(found)
    rows = [[s.a for s in shown], [s.b for s in shown]]
    sides = tuple(zip((found.before, found.after), rows, strict=True))
    days = tuple(site_days(a, own) for a, own in sides)
    spectra = tuple(site_spectra(a, own) for a, own in sides)
    made = comparison_drawings(found, shown, (days[0], days[1]), (spectra[0], spectra[1]))
    return {d.name: d for d in made}


def raised(setup, height_m):
    return replace(setup, fixtures=tuple(replace(f, height_m=height_m) for f in setup.fixtures))


def other_day(setup):
    """Longer by 2 h and of another mix: all but the first channel at a tenth of their levels."""
    fixtures = []
    for fixture in setup.fixtures:
        channels = dict(fixture.programme.channels)
        for turn, (name, channel) in enumerate(channels.items()):
            later_h = np.where(np.arange(channel.time_h.size) * 2 < channel.time_h.size, 0.0, 2.0)
            level = channel.level / (10 if turn else 1)
            channels[name] = replace(channel, time_h=channel.time_h + later_h, level=level)
        fixtures.append(replace(fixture, programme=Programme(channels)))
    return replace(setup, fixtures=tuple(fixtures))


def many(count):
    sites = tuple(Site(f"place {i}", 0.05 + 0.005 * i, 0.2, 0.1) for i in range(count))
    corals = tuple(Coral(f"{ODD} {i}", "sps-shallow", f"place {i}") for i in range(count))
    return replace(TANK, sites=sites, corals=corals)


OFF = replace(TANK, fixtures=tuple(replace(f, enabled=False) for f in TANK.fixtures))
CASES = {
    "itself": (TANK, TANK),
    "far higher": (TANK, raised(TANK, 2.0)),
    "dark A": (OFF, TANK),
    "no corals": (replace(TANK, corals=()), raised(TANK, 0.3)),
    "12 corals": (many(12), raised(many(12), 0.3)),
    "70 corals": (many(70), raised(many(70), 0.3)),
}
QUICK = [case for case in CASES if case != "70 corals"]


@pytest.mark.identity
@pytest.mark.parametrize("case", [*QUICK, pytest.param("70 corals", marks=pytest.mark.slow)])
def test_words_of_figures_stand_apart_inside_the_canvas(case: str) -> None:
    """No label leaves its figure or meets another, with long names, dark sides, 70 corals."""
    for drawing in drawings_of(compare(*CASES[case], certainty=False)).values():
        assert misplaced_words(drawing) == []
        assert drawing.title
        assert drawing.description


@pytest.mark.identity
def test_split_bars_reach_their_factors() -> None:
    """Each bar runs from 1 to the factor of its column; photons are brightness times hours."""
    found = compare(TANK, other_day(raised(TANK, 0.3)), certainty=False)
    figure = drawings_of(found)["comparison-split"].figure
    ends = [[1 + patch.get_width() for patch in axes.patches] for axes in figure.axes]
    assert [axes.get_title(loc="left") for axes in figure.axes] == list(PARTS)
    for photons, brightness, hours, _ in zip(*ends, strict=True):
        assert photons == pytest.approx(brightness * hours, rel=1e-12)
    ratios = sorted(c.dli_ratio for c in found.corals)
    assert sorted(ends[0]) == pytest.approx(ratios)
    assert len({axes.get_xlim() for axes in figure.axes}) == 1


@pytest.mark.identity
def test_split_leaves_out_what_nobody_would_see() -> None:
    """A part that is the same for all is named and not drawn; without any change there is no split."""
    drawing = drawings_of(compare(TANK, raised(TANK, 0.3), certainty=False))["comparison-split"]
    assert [axes.get_title(loc="left") for axes in drawing.figure.axes] == ["photons", "brightness"]
    words = " ".join(text.get_text() for text in drawing.figure.texts)
    assert "The same for all, so not drawn: hours, colour." in words
    assert not any("split" in name for name in drawings_of(compare(TANK, TANK, certainty=False)))
    assert "comparison-split" in drawings_of(compare(OFF, TANK, certainty=False))


@pytest.mark.identity
def test_days_of_both_stand_on_one_scale() -> None:
    """Each panel holds A and B up to their peaks; all panels share one scale."""
    found = compare(TANK, raised(TANK, 0.3), certainty=False)
    shown = shown_sites(found)
    figure = drawings_of(found)["comparison-days"].figure
    assert len(figure.axes) == len(shown)
    for axes, site in zip(figure.axes, shown, strict=True):
        tops = [max(line.get_ydata()) for line in axes.lines if len(line.get_xdata()) > 2]
        peaks = [site.before.peak_ppfd_umol_m2_s, site.after.peak_ppfd_umol_m2_s]
        assert tops == pytest.approx(peaks)
    assert len({axes.get_ylim() for axes in figure.axes}) == 1


@pytest.mark.identity
def test_doses_of_both_are_marked() -> None:
    """Every coral has a ring at A's dose and a disc at B's."""
    found = compare(TANK, raised(TANK, 0.3), certainty=False)
    axes = drawings_of(found)["comparison-doses"].figure.axes[0]
    marks = [line for line in axes.lines if line.get_marker() == "o"]
    rings = sorted(float(m.get_xdata()[0]) for m in marks if to_hex(m.get_markerfacecolor()) == "#ffffff")
    assert rings == pytest.approx(sorted(c.before.dli_mol_m2_d for c in found.corals))
    assert len(marks) == 2 * len(found.corals)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("kept", "words"), [(1, "1 of 1 coral changes verdict"), (2, "2 of 2 corals change verdict")]
)
def test_title_of_doses_counts_in_good_grammar(kept: int, words: str) -> None:
    """One coral changes, two change."""
    found = compare(TANK, raised(TANK, 2.0), certainty=False)
    few = replace(found, corals=tuple(c for c in found.corals if c.changes_verdict)[:kept])
    assert words in drawings_of(few)["comparison-doses"].title


@pytest.mark.identity
def test_bars_of_looks_are_lux_in_their_own_colours() -> None:
    """Two bars a place: its lux in its swatch, white light's lux in white's; no more than twelve places."""
    looks = [(s.site, s.before.looks) for s in compare(TANK, TANK, certainty=False).sites]
    axes = looks_drawing(looks).figure.axes[0]
    widths = [p.get_width() for p in axes.patches]
    wanted = [x for _, look in looks for x in (look.lux, look.white.lux)]
    assert widths == pytest.approx(wanted)
    assert to_hex(axes.patches[0].get_facecolor()) == looks[0][1].appearance.swatch.srgb
    crowd = looks_drawing([(f"{ODD} {i}", looks[0][1]) for i in range(20)])
    assert len(crowd.figure.axes[0].patches) == 24
    assert misplaced_words(crowd) == []
