"""Figures: each function draws what its command draws, and returns it; it shows nothing and saves nothing.

``fig`` is a figure of yours to draw on, which takes the size that the drawing needs; without it one is made.
Where there are several pages, ``page`` says which. Single panels go onto ``ax`` instead. Results are what
``analyse`` and the functions of the commands give.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightdose.present.figures.canvas import Drawing, Panel, drawing_settings, drawn_on

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from lightdose.model.places import MapQuantity
    from lightdose.model.spectrum import SpectralDistribution

__all__ = [
    "acclimation",
    "calibration",
    "comparison",
    "day",
    "doses",
    "history",
    "light_map",
    "match",
    "move",
    "placement",
    "schedule",
    "sensitivity",
    "spectra",
    "spectrum",
    "tank",
    "tuning",
]


def _record(result: Any) -> Any:
    return getattr(result, "record", result)


def _figure(draw: Callable[[], Sequence[Drawing]], fig: Figure | None, page: int = 1) -> Figure:
    """The figure of a page; ValueError where there is none of that number."""
    with drawn_on(fig, page):
        drawings = draw()
    if not 1 <= page <= len(drawings):
        raise ValueError(f"page {page} of {len(drawings)}")
    return drawings[page - 1].figure


def _panel(ax: Axes) -> Panel:
    """Axes of the caller's as a panel."""
    box, (wide, high) = ax.get_position(), ax.figure.get_size_inches()  # type: ignore[union-attr]
    return Panel(ax, box.width * wide, box.height * high, 0.0)


def doses(result: Any, *, fig: Figure | None = None, page: int = 1) -> Figure:
    """Every coral's daily dose beside what is usual for its group."""
    from lightdose.present.figures.day import dose_drawings

    return _figure(lambda: dose_drawings(_record(result)), fig, page)


def tank(result: Any, *, fig: Figure | None = None) -> Figure:
    """The tank from above and from the front, each coral with its state."""
    from lightdose.present.figures.tank import tank_views

    analysis = _record(result)
    return _figure(lambda: [tank_views(analysis, analysis.setup.length_unit)], fig)


def day(
    result: Any, sites: Sequence[str] = (), *, fig: Figure | None = None, ax: Axes | None = None
) -> Figure | Axes:
    """PPFD through the day at some sites, by channel; on ``ax`` the first of them alone.

    Raises
    ------
    SetupError
        If a name is no site of the setup.
    """
    from lightdose.analysis import site_days
    from lightdose.judge.map_choice import shown_receivers
    from lightdose.present.figures.day import CLOCK, PPFD, channel_lines, day_drawing
    from lightdose.present.figures.style import TOTAL_STROKE

    analysis = _record(result)
    shown = shown_receivers(analysis, sites)
    days = site_days(analysis, shown)
    if ax is None:
        return _figure(lambda: [day_drawing(analysis, days, analysis.setup.length_unit)], fig)
    one = days[0]
    lines = [(line.label, line.of(one.by_channel), line.stroke) for line in channel_lines(analysis, shown)]
    with drawing_settings():
        panel = _panel(ax)
        panel.grid()
        panel.day_axis(float(one.total.max(initial=0.0)) or 1.0)
        for label, values, stroke in [*lines, ("total", one.total, TOTAL_STROKE)]:
            panel.line(one.time_h, values, stroke, label=label)
        ax.set(xlabel=CLOCK, ylabel=PPFD, title=one.name)
        ax.legend()
    return ax


def spectrum(result: Any, sites: Sequence[str] = (), *, fig: Figure | None = None) -> Figure:
    """The spectrum at some sites at the time of their peak, by channel."""
    from lightdose.analysis import site_spectra
    from lightdose.judge.map_choice import shown_receivers
    from lightdose.present.figures.day import spectrum_drawing

    analysis = _record(result)
    found = site_spectra(analysis, shown_receivers(analysis, sites))
    return _figure(lambda: [spectrum_drawing(analysis, found, analysis.setup.length_unit)], fig)


def spectra(*named: str | Path | SpectralDistribution, fig: Figure | None = None) -> Figure:
    """Spectra over one another, each as shares of its photons: files, entries of the library, or records."""
    from lightdose.model.spectrum import SpectralDistribution
    from lightdose.physics.spectrum_metrics import photon_shares
    from lightdose.present.figures.day import overlay_drawing
    from lightdose.python.reading import read_spectrum

    read = [one if isinstance(one, SpectralDistribution) else read_spectrum(one) for one in named]
    curves = [photon_shares(Path(one.name).name, one) for one in read]
    return _figure(lambda: [overlay_drawing(curves)], fig)


def schedule(result: Any, *, fig: Figure | None = None) -> Figure:
    """The programme of each fixture."""
    from lightdose.present.figures.day import schedule_drawing

    return _figure(lambda: [schedule_drawing(_record(result))], fig)


def light_map(
    result: Any,
    quantity: MapQuantity = "dli",
    *,
    fig: Figure | None = None,
    ax: Axes | None = None,
    page: int = 1,
) -> Figure | Axes:
    """A slice through the tank, with contours, sites and where groups get their usual light.

    On ``ax`` the light alone, in metres, x to the right and y to the back or depth down.
    """
    from lightdose.present.figures.map import COLOURS, QUANTITY_TITLES, map_drawings, scale_levels, to_walls

    light = _record(result)
    if ax is None:
        return _figure(lambda: map_drawings(light, quantity, light.setup.length_unit), fig, page)
    part = light.slices[page - 1]
    levels = scale_levels([one.of(quantity) for one in light.slices])
    columns, rows, values = to_walls(part, part.of(quantity))
    filled = ax.contourf(columns, rows, values, levels, cmap=COLOURS)
    ax.figure.colorbar(filled, ax=ax, label=", ".join(QUANTITY_TITLES[quantity]))
    ax.set(aspect="equal", xlabel="x, m", ylabel="y, m" if part.plane.kind == "depth" else "depth, m")
    return ax


def comparison(result: Any, sites: Sequence[str] = (), *, fig: Figure | None = None, page: int = 1) -> Figure:
    """Doses of two setups, what makes the change, days and spectra at some sites."""
    from lightdose.judge.map_choice import shown_sites
    from lightdose.present.figures.comparison import comparison_drawings
    from lightdose.workflows.compare import with_days

    found = _record(result)
    shown = with_days(found, shown_sites(found, sites))
    return _figure(lambda: comparison_drawings(found, shown.sites, shown.days, shown.spectra), fig, page)


def tuning(result: Any, *, fig: Figure | None = None, page: int = 1) -> Figure:
    """Doses before and after, and the day before and after."""
    from lightdose.analysis import site_days
    from lightdose.judge.map_choice import shown_corals
    from lightdose.present.figures.tuning import tuning_drawings

    found = _record(result)
    shown = shown_corals(found)
    receivers = [coral.after.receiver for coral in shown]
    before, after = site_days(found.before, receivers), site_days(found.after, receivers)
    unit = found.before.setup.length_unit
    return _figure(lambda: tuning_drawings(found, shown, before, after, unit), fig, page)


def placement(result: Any, *, fig: Figure | None = None) -> Figure:
    """Where each coral goes, over the light of the tank."""
    from lightdose.judge.map_choice import default_cell_m, shown_planes
    from lightdose.present.figures.placement import placement_drawing
    from lightdose.workflows.plans import light_map as mapped

    found = _record(result)
    setup = found.before.setup
    light = mapped(setup, shown_planes(found), cell_m=default_cell_m(setup))
    return _figure(lambda: [placement_drawing(found, light, setup.length_unit)], fig)


def move(result: Any, *, fig: Figure | None = None) -> Figure:
    """The dose of a coral on its way, step by step."""
    from lightdose.present.figures.placement import move_drawing

    return _figure(lambda: [move_drawing(_record(result))], fig)


def acclimation(result: Any, *, fig: Figure | None = None) -> Figure:
    """Doses through the steps from one light to another."""
    from lightdose.present.figures.placement import acclimation_drawing

    return _figure(lambda: [acclimation_drawing(_record(result))], fig)


def match(result: Any, *, fig: Figure | None = None) -> Figure:
    """Spectra of the day here and there."""
    from lightdose.present.figures.tuning import match_drawing

    return _figure(lambda: [match_drawing(_record(result))], fig)


def calibration(result: Any, *, fig: Figure | None = None, page: int = 1) -> Figure:
    """Measured gains, and each reading beside the model."""
    from lightdose.present.figures.calibration import calibration_drawings

    return _figure(lambda: calibration_drawings(_record(result)), fig, page)


def sensitivity(
    result: Any, sites: Sequence[str] = (), *, fig: Figure | None = None, page: int = 1
) -> Figure:
    """What each change does to the light, the largest first."""
    from lightdose.present.figures.explaining import tornado_drawings

    return _figure(lambda: tornado_drawings(_record(result), sites), fig, page)


def history(result: Any, *, one: bool = False, fig: Figure | None = None, page: int = 1) -> Figure:
    """The light that corals lived in; ``one`` draws a coral a page, with its notes."""
    from lightdose.present.figures.history import history_drawings

    return _figure(lambda: list(history_drawings(_record(result), one=one)), fig, page)
