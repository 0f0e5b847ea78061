"""An analysis made by hand with invented numbers: what prints is tested apart from the physics."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.model.fixture import (
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Flux,
    Programme,
)
from lightdose.model.light import ChannelKey, DayCurve, Dose, LightField, SiteDay, SiteSpectrum
from lightdose.model.record import FloatArray
from lightdose.model.results import USABLE_KEYS, Analysis, Basis, Caution, DliState, FixtureUse, Verdict
from lightdose.model.setup import Coral, CoralGroup, Electricity, LengthUnit, Setup, Site, Tank
from lightdose.model.spectrum import GRID_NM, LedPeak

CHANNELS = (("violet 405", 405.0, 14.0), ("blue 450", 450.0, 20.0), ("blue 470", 470.0, 24.0))
WHITE = ("white", 560.0, 130.0)
PER_PPFD = {
    "ppfd": 1.0,
    "photons": 1.1,
    "uv_a": 0.05,
    "blue": 0.7,
    "green": 0.2,
    "red": 0.1,
    "far_red": 0.05,
    "below_390": 0.001,
    "lux": 20.0,
    "usable_mean": 0.7,
    **{key: 0.5 + 0.05 * n for n, key in enumerate(USABLE_KEYS[1:])},
}
"""Invented: what each weighting amounts to, per PPFD."""

GROUPS = {
    "sps-shallow": CoralGroup(
        "sps-shallow",
        "small-polyp stony, shallow",
        ("Acropora",),
        (8.0, 15.0),
        (250.0, 450.0),
        4.0,
        30.0,
        (200.0, 500.0),
        "computed",
        "B",
        ("P2",),
    ),
    "lps-branching": CoralGroup(
        "lps-branching",
        "large-polyp stony, branching",
        ("Euphyllia",),
        (2.5, 5.5),
        (75.0, 175.0),
        1.5,
        12.0,
        (80.0, 250.0),
        "assumed",
        "D",
        ("CP",),
    ),
    "mushroom": CoralGroup(
        "mushroom",
        "mushroom corals",
        ("Discosoma",),
        (1.0, 3.2),
        (30.0, 100.0),
        0.5,
        8.0,
        (40.0, 150.0),
        "assumed",
        "D",
        ("CP",),
    ),
    "non-photosynthetic": CoralGroup(
        "non-photosynthetic", "corals without symbionts", (), None, None, None, None, None, "none", "n/a", ()
    ),
}
STATE_ORDER = ("far_below", "below", "within", "above", "far_above")
EXAMPLE = (
    ("staghorn frag", "sps-shallow", "ridge", 9.4),
    ("blue tip", "sps-shallow", "ridge", 5.1),
    ("torch head", "lps-branching", "terrace", 4.2),
    ("frogspawn colony", "lps-branching", "terrace", 7.3),
    ("hammer frag", "lps-branching", "cave mouth", 1.2),
    ("red mushroom", "mushroom", "sand left", 1.8),
    ("green mushroom", "mushroom", "sand left", 9.6),
    ("sun coral", "non-photosynthetic", "cave mouth", 0.6),
)
"""Coral, group, site, DLI: invented."""


def state_of(dli: float, group: CoralGroup) -> DliState:
    """The state by the contract's comparison."""
    if group.band_dli is None or group.floor_dli is None or group.ceiling_dli is None:
        return "not_judged"
    low, high = group.band_dli
    if dli < group.floor_dli:
        return "far_below"
    if dli < low:
        return "below"
    if dli <= high:
        return "within"
    return "above" if dli <= group.ceiling_dli else "far_above"


def made_analysis(
    corals: Sequence[tuple[str, str, str, float]] = EXAMPLE,
    bare_sites: Sequence[tuple[str, float]] = (("empty corner", 0.0), ("front glass", 3.3)),
    length_unit: LengthUnit = "cm",
    title: str = "Window tank (invented)",
) -> Analysis:
    """An analysis in which a coral off its site's dose stands on its own receiver."""
    site_dli: dict[str, float] = {}
    for _, _, site, dli in corals:
        site_dli.setdefault(site, dli)
    site_dli.update(bare_sites)
    sites = tuple(
        Site(name, 0.05 + 0.03 * (i % 23), 0.10 + 0.01 * (i % 34), 0.08 + 0.02 * (i % 12))
        for i, name in enumerate(site_dli)
    )
    own = [dli != site_dli[site] for _, _, site, dli in corals]
    setup = Setup(
        title=title,
        tank=Tank(0.75, 0.45, 0.40),
        fixtures=(_fixture("left", with_white=False), _fixture("right", with_white=True)),
        sites=sites,
        corals=tuple(
            Coral(name, group, site, height_m=0.02 if off else 0.0)
            for (name, group, site, _), off in zip(corals, own, strict=True)
        ),
        groups=GROUPS,
        group_sources={"P2": "Bessell-Browne et al. 2017 Sci Rep 7:11783"},
        electricity=Electricity(0.30, "EUR"),
        length_unit=length_unit,
        path="tank/setup.toml",
        inputs_sha256={"setup.toml": "0" * 64},
    )
    dli = np.array([*site_dli.values(), *(d for (_, _, _, d), o in zip(corals, own, strict=True) if o)])
    field = _field(setup, dli)
    dose = _dose(field, dli)
    return Analysis(
        setup=setup,
        basis=Basis("data sheet", "Not measured. Based on data sheets, good to 0.6 to 1.05 (invented)."),
        light_field=field,
        day_curve=_curve(len(field.channels)),
        dose=dose,
        verdicts=_verdicts(setup, dose, corals, own),
        fixtures=(
            FixtureUse("left", 0.412, 45.2, "EUR", 1.93),
            FixtureUse("right", None, None, None, None),
        ),
        cautions=(
            Caution("much_red", "Red is 52 % of PPFD at 'ridge' (invented).", "our choice"),
            Caution("safety_eyes", "Do not look into the emitters.", "common practice, no published source"),
        ),
        version="0.0.0",
    )


def _fixture(name: str, *, with_white: bool) -> Fixture:
    kinds = (*CHANNELS, WHITE) if with_white else CHANNELS
    channels = tuple(
        Channel(n, LedPeak(p, w), CosineLobe(90.0), DimmingCurve.linear(), Flux("photon_flux_umol_s", 40.0))
        for n, p, w in kinds
    )
    programme = Programme(
        {
            c.name: ChannelProgramme(
                np.array([8.0 + i, 10.0 + i, 16.0 + i, 18.0 + i]), np.array([0.0, 0.6, 0.6, 0.0])
            )
            for i, c in enumerate(channels)
        }
    )
    return Fixture(
        name, FixtureType("demo panel (invented)", channels), 0.22, 0.22, 0.2, programme, rotation_deg=0.0
    )


def _field(setup: Setup, dli: FloatArray) -> LightField:
    keys = tuple(ChannelKey(f.name, c.name) for f in setup.lit_fixtures for c in f.type.channels)
    share = np.linspace(1.0, 2.0, len(keys))
    ppfd = dli[:, None] / (0.0036 * 8 * 0.6) * share / share.sum()
    factor = np.array(list(PER_PPFD.values()))
    return LightField(setup.receivers, keys, tuple(PER_PPFD), ppfd[:, :, None] * factor)


def _curve(n_channel: int) -> DayCurve:
    edge = np.array([0.0, 8.0, 10.0, 16.0, 18.0, 24.0])
    start = np.repeat(np.array([0.0, 0.0, 0.6, 0.6, 0.0])[:, None], n_channel, axis=1)
    end = np.repeat(np.array([0.0, 0.6, 0.6, 0.0, 0.0])[:, None], n_channel, axis=1)
    return DayCurve(edge, start, end)


def _dose(field: LightField, dli: FloatArray) -> Dose:
    peak = dli / (0.0036 * 8)
    lit = np.where(dli > 0, 1.0, 0.0)
    by_channel = field.of("ppfd") * (0.0036 * 8 * 0.6)
    return Dose(
        dli=dli,
        peak_ppfd=peak,
        brightest_hour_ppfd=peak,
        lux_at_peak=peak * 20,
        photoperiod_h=9.8 * lit,
        any_light_h=10.0 * lit,
        peak_equivalent_h=np.where(dli > 0, 8.0, np.nan),
        weighted=(field.response * (0.0036 * 8 * 0.6)).sum(axis=1),
        dli_by_channel=by_channel,
    )


def _verdicts(
    setup: Setup, dose: Dose, corals: Sequence[tuple[str, str, str, float]], own: Sequence[bool]
) -> tuple[Verdict, ...]:
    site_index = {s.name: i for i, s in enumerate(setup.sites)}
    tops = {r.coral: i for i, r in enumerate(setup.receivers) if r.coral is not None}
    verdicts = []
    for (name, key, site, dli), off in zip(corals, own, strict=True):
        group, receiver = setup.groups[key], tops[name] if off else site_index[site]
        peak = float(dose.peak_ppfd[receiver])
        verdicts.append(
            Verdict(
                coral=name,
                group=key,
                group_name=group.name,
                site=site,
                receiver=receiver,
                dli_mol_m2_d=dli,
                peak_ppfd_umol_m2_s=peak,
                brightest_hour_ppfd_umol_m2_s=peak,
                judged_at_depth_m=setup.receivers[receiver].depth_m,
                dli_state=state_of(dli, group),
                peak_state=None
                if group.band_peak is None
                else ("high" if peak > group.band_peak[1] else "within"),
                band_dli=group.band_dli,
                band_peak=group.band_peak,
                floor_dli=group.floor_dli,
                ceiling_dli=group.ceiling_dli,
                advice=f"Give {name} about 1.7 times the light (invented advice).",
                grade=group.grade,
                sources=group.sources,
            )
        )
    return tuple(verdicts)


def made_days(analysis: Analysis, receivers: Sequence[int]) -> tuple[SiteDay, ...]:
    """Day curves of chosen receivers: the same trapezoid for every channel, shifted by half an hour each."""
    n_channel = len(analysis.light_field.channels)
    days = []
    for r in receivers:
        time = np.unique(
            np.concatenate([[0.0, 24.0], *(np.array([8, 10, 16, 18]) + 0.5 * c for c in range(n_channel))])
        )
        shape = np.array(
            [
                np.interp(time, np.array([8, 10, 16, 18]) + 0.5 * c, [0, 1, 1, 0], left=0, right=0)
                for c in range(n_channel)
            ]
        )
        peak = 0.6 * analysis.light_field.of("ppfd")[r]
        days.append(SiteDay(r, analysis.light_field.receivers[r].name, time, peak[:, None] * shape))
    return tuple(days)


def made_spectra(analysis: Analysis, receivers: Sequence[int]) -> tuple[SiteSpectrum, ...]:
    """Gaussian spectra with the channels' peaks and the PPFD of the response."""
    setup = analysis.setup
    peaks = [c.spectrum for f in setup.lit_fixtures for c in f.type.channels]
    spectra = []
    for r in receivers:
        rows = []
        for spectrum, ppfd in zip(peaks, 0.6 * analysis.light_field.of("ppfd")[r], strict=True):
            assert isinstance(spectrum, LedPeak)
            shape = np.exp(-4 * np.log(2) * ((GRID_NM - spectrum.peak_nm) / spectrum.fwhm_nm) ** 2)
            rows.append(ppfd * shape / shape.sum())
        spectra.append(SiteSpectrum(r, analysis.light_field.receivers[r].name, np.array(rows)))
    return tuple(spectra)
