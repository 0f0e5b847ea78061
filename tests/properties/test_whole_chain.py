"""Properties that hold from files to doses, whatever tank is drawn."""

from __future__ import annotations

import csv
import json
import math
import re
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lightdose.analysis import analyse, fixture_emission
from lightdose.answers.dose import dose_body, dose_sheet
from lightdose.answers.verdicts import interval_text
from lightdose.answers.words import hours, number
from lightdose.files.calibration_file import calibration_toml
from lightdose.files.csv_text import csv_text
from lightdose.files.schedule_csv import write_schedule
from lightdose.files.setup_file import read_setup
from lightdose.model.calibration import Calibration, ChannelGain
from lightdose.model.plans import TuneWishes
from lightdose.model.results import Analysis
from lightdose.present.report import Report, report_page
from lightdose.workflows.compare import compare
from lightdose.workflows.tuning import tune

from .drawn_tanks import (
    MINUTES_A_DAY,
    Channel,
    DrawnTank,
    Lamp,
    Point,
    analysed,
    dli_of_channel,
    light_of_site,
    tanks,
    write,
)

pytestmark = pytest.mark.identity

RELATIVE = 1e-7
"""Sums in another order, and lengths written in another unit, differ in the last digits only."""


def _csv(analysis: Analysis) -> str:
    sheet = dose_sheet(analysis)
    return csv_text([c.name for c in sheet.columns], sheet.values())


def assert_same(one: dict, other: dict, relative: float = RELATIVE) -> None:
    """Equal keys, and numbers equal to ``relative``; a tiny light may differ by as much of the brightest."""
    assert one.keys() == other.keys()
    values, others = (np.array([np.atleast_1d(v) for v in d.values()]) for d in (one, other))
    np.testing.assert_allclose(others, values, rtol=relative, atol=relative * 1e-3 * values.max(initial=0.0))


def changed(lamp: Lamp, change) -> Lamp:
    """The lamp with every channel changed."""
    return replace(lamp, channels=tuple(change(c) for c in lamp.channels))


def level_at(points: tuple[Point, ...], minute: float) -> float:
    return float(np.interp(minute, *zip(*points, strict=True)))


@settings(max_examples=12)
@given(tanks(), st.floats(0.2, 5.0), st.data())
def test_dose_is_linear_in_each_channels_flux(tank: DrawnTank, factor: float, data: st.DataObject) -> None:
    """One channel with k times the flux gives k times its own photons everywhere, and leaves the others."""
    lamp = data.draw(st.sampled_from(tank.lamps))
    name = data.draw(st.sampled_from([c.name for c in lamp.channels]))
    stronger = changed(
        lamp, lambda c: replace(c, flux_umol_s=factor * c.flux_umol_s) if c.name == name else c
    )
    before = dli_of_channel(analysed(tank))
    after = dli_of_channel(analysed(tank.with_lamps(*(stronger if x == lamp else x for x in tank.lamps))))
    own = {key: (factor if key[1:] == (lamp.name, name) else 1.0) * dli for key, dli in before.items()}
    assert_same(own, after)


@settings(max_examples=8)
@given(tanks(), st.floats(0.2, 5.0))
def test_output_scale_is_flux(tank: DrawnTank, factor: float) -> None:
    """Output scale k and k times the flux are one, also for staring into the lamp."""
    scaled = tank.with_lamps(*(replace(x, output_scale=factor) for x in tank.lamps))
    stronger = tank.with_lamps(
        *(changed(x, lambda c: replace(c, flux_umol_s=factor * c.flux_umol_s)) for x in tank.lamps)
    )
    one, other = analysed(scaled), analysed(stronger)
    assert_same(light_of_site(one), light_of_site(other))
    figures = [
        [(s.full_output.e_b_w_m2, s.programme.e_b_w_m2, s.full_output.e_uv_a_w_m2) for s in a.hazards]
        for a in (one, other)
    ]
    np.testing.assert_allclose(*figures, rtol=RELATIVE)


@settings(max_examples=12)
@given(tanks(lamp_count=2))
def test_fixtures_and_channels_add(tank: DrawnTank) -> None:
    """The day's photons are the sum over fixtures alone, and over channels alone, at each site."""
    both = analysed(tank)
    parts = [analysed(tank.with_lamps(lamp)) for lamp in tank.lamps]
    np.testing.assert_allclose(sum(p.dose.weighted for p in parts), both.dose.weighted, rtol=RELATIVE)
    lamp = tank.lamps[0]

    def dark(c: Channel) -> Channel:
        return replace(c, dimming=((0, 0), (100, 100)), points=tuple((m, 0.0) for m, _ in c.points))

    singles = [
        analysed(tank.with_lamps(changed(lamp, lambda c, on=on: c if c == on else dark(c))))
        for on in lamp.channels
    ]
    np.testing.assert_allclose(sum(s.dose.weighted for s in singles), parts[0].dose.weighted, rtol=RELATIVE)
    np.testing.assert_allclose(both.dose.dli_by_channel.sum(axis=1), both.dose.dli, rtol=RELATIVE)


@settings(max_examples=12)
@given(tanks(), st.sampled_from(["x", "y"]))
def test_mirrored_tank_has_the_same_light(tank: DrawnTank, axis: str) -> None:
    """Left for right, or front for back: every site keeps its light."""
    front, back, left, right = tank.walls
    far = tank.length_cm if axis == "x" else tank.width_cm
    walls = (front, back, right, left) if axis == "x" else (back, front, left, right)

    def mirrored(thing):
        return replace(thing, **{f"{axis}_cm": far - getattr(thing, f"{axis}_cm")})

    lamps = tuple(mirrored(replace(x, rotation_deg=(360 - x.rotation_deg) % 360)) for x in tank.lamps)
    other = replace(tank, walls=walls, lamps=lamps, spots=tuple(mirrored(s) for s in tank.spots))
    assert_same(light_of_site(analysed(tank)), light_of_site(analysed(other)))


@settings(max_examples=10)
@given(tanks())
def test_inches_and_centimetres_are_one(tank: DrawnTank) -> None:
    """The same tank written in inches has the same light."""
    assert_same(light_of_site(analysed(tank)), light_of_site(analysed(tank, unit="in")))


@settings(max_examples=12)
@given(tanks(lamp_count=2), st.randoms(use_true_random=False))
def test_order_of_sites_channels_and_fixtures_does_not_matter(tank: DrawnTank, random) -> None:
    """Doses go by name, whatever the order in the files."""

    def shuffled(things: tuple) -> tuple:
        return tuple(random.sample(things, len(things)))

    lamps = (replace(x, channels=shuffled(x.channels)) for x in tank.lamps)
    other = replace(tank, spots=shuffled(tank.spots), lamps=shuffled(tuple(lamps)))
    one, two = analysed(tank), analysed(other)
    assert_same(light_of_site(one), dict(sorted(light_of_site(two).items())))
    assert_same(dict(sorted(dli_of_channel(one).items())), dict(sorted(dli_of_channel(two).items())))
    verdicts = [{v.coral: (v.dli_state, v.peak_state) for v in a.verdicts} for a in (one, two)]
    assert verdicts[0] == verdicts[1]


@settings(max_examples=12)
@given(tanks(), st.lists(st.integers(1, MINUTES_A_DAY - 1), min_size=1, max_size=4))
def test_points_on_a_ramp_change_nothing(tank: DrawnTank, minutes: list[int]) -> None:
    """Further points on the straight lines of a programme are the same programme."""

    def finer(c: Channel) -> Channel:
        first, last = c.points[0][0], c.points[-1][0]
        more = {m: level_at(c.points, m) for m in minutes if first < m < last}
        return replace(c, points=tuple(sorted((more | dict(c.points)).items())))

    other = tank.with_lamps(*(changed(x, finer) for x in tank.lamps))
    assert_same(light_of_site(analysed(tank)), light_of_site(analysed(other)))


@settings(max_examples=12)
@given(tanks(lamp_count=1), st.floats(0.1, 0.9))
def test_programme_may_be_split_among_lamps(tank: DrawnTank, share: float) -> None:
    """A lamp that runs the morning and its twin that runs the rest give the day of one lamp."""

    def cut(c: Channel, late: bool) -> Channel:
        up, down = c.points[1][0], c.points[2][0]
        noon = up + max(1, round(share * (down - up)))  # a programme of tiny levels alone is refused
        kept = {m: p for m, p in c.points if (m > noon if late else m < noon)}
        return replace(c, points=tuple(sorted((kept | {noon: level_at(c.points, noon)}).items())))

    (lamp,) = tank.lamps
    halves = [
        changed(replace(lamp, name=n), lambda c, late=n == "late": cut(c, late)) for n in ("early", "late")
    ]
    assert_same(light_of_site(analysed(tank)), light_of_site(analysed(tank.with_lamps(*halves))))


@settings(max_examples=12)
@given(tanks(), st.integers(0, MINUTES_A_DAY - 1))
def test_day_may_be_shifted_over_midnight(tank: DrawnTank, minutes: int) -> None:
    """All programmes later by the same time give the same doses, peaks and hours."""

    def later(c: Channel) -> Channel:
        start = (c.points[0][0] + minutes) % MINUTES_A_DAY
        return replace(c, points=tuple((m - c.points[0][0] + start, p) for m, p in c.points))

    other = tank.with_lamps(*(changed(x, later) for x in tank.lamps))
    assert_same(light_of_site(analysed(tank)), light_of_site(analysed(other)))


@settings(max_examples=10)
@given(tanks(), st.lists(st.floats(0.3, 3.0), min_size=6, max_size=6))
def test_gain_of_a_calibration_multiplies_every_dose(tank: DrawnTank, gains: list[float]) -> None:
    """A calibration file with gain g for a channel multiplies that channel's photons everywhere by g."""
    channels = [(x.name, c) for x in tank.lamps for c in x.channels]
    own = {(lamp, c.name): g for (lamp, c), g in zip(channels, gains, strict=False)}
    found = Calibration(
        date="2026-03-14",
        meters=("handheld",),
        readings=len(channels),
        gains=tuple(
            ChannelGain(lamp, c.name, own[lamp, c.name], (0.2, 4.0), c.flux_umol_s) for lamp, c in channels
        ),
        parameters=(),
        covariance=np.zeros((0, 0)),
    )
    before = analysed(tank)
    after = analysed(replace(tank, calibration=calibration_toml(found)))
    assert after.basis.key == "measured"
    expected = {key: own[key[1:]] * dli for key, dli in dli_of_channel(before).items()}
    assert_same(expected, dli_of_channel(after))
    for one, other in zip(fixture_emission(before.setup), fixture_emission(after.setup), strict=True):
        np.testing.assert_allclose(other.sum() / one.sum(), gains.pop(0), rtol=RELATIVE)


@settings(max_examples=4)
@given(tanks(corals=True))
def test_tuned_schedules_give_the_doses_that_tune_promised(tank: DrawnTank) -> None:
    """The schedules that tune writes, read from their files, give to the digit what it said."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = write(tank, folder)
        tuned = tune(read_setup(path), TuneWishes())
        text = path.read_text(encoding="utf-8")
        lit = tuned.after.setup.lit_fixtures
        for number, fixture in enumerate(lit):
            names = [c.name for c in fixture.type.channels]
            written = write_schedule(fixture.programme, names, lit_at_zero=fixture.type.lit_at_zero)
            (folder / f"tuned-{number}.csv").write_text(written, encoding="utf-8")
        lines = []
        tables = iter(range(len(lit)))
        for line in text.splitlines():
            before, found, _ = line.partition("schedule = ")
            lines.append(f'{before}schedule = "tuned-{next(tables)}.csv"' if found else line)
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        again = analyse(read_setup(path), certainty=False)
    assert_same(light_of_site(tuned.after), light_of_site(again), relative=1e-12)
    assert [c.after.dli_state for c in tuned.corals] == [v.dli_state for v in again.verdicts]


@settings(max_examples=6)
@given(tanks(corals=True))
def test_setup_compared_with_itself_differs_in_nothing(tank: DrawnTank) -> None:
    """compare(A, A): every ratio is 1 and every logarithm 0, to the last bit."""
    with tempfile.TemporaryDirectory() as name:
        setup = read_setup(write(tank, Path(name)))
        found = compare(setup, setup, certainty=False)
    assert len(found.sites) == len(tank.spots)
    for place in (*found.sites, *found.corals):
        split = place.split
        assert place.before == place.after
        assert place.dli_ratio in (1.0, None)
        logs = (split.ln_dli, split.ln_total, split.ln_intensity, split.ln_time)
        assert all(ln in (0.0, None) for ln in logs)
        assert place.dli_ratio is None or split.ln_dli == 0.0
    assert not any(c.changes_verdict for c in found.corals)


@settings(max_examples=6)
@given(tanks())
def test_json_and_csv_hold_the_same_numbers(tank: DrawnTank) -> None:
    """Every number of the CSV stands in the JSON, digit for digit, intervals included."""
    analysis = analysed(tank, certainty=True)
    sites = {s["site"]: s for s in json.loads(json.dumps(dose_body(analysis), allow_nan=False))["sites"]}
    rows = list(csv.DictReader(_csv(analysis).splitlines()))
    assert {row["site"] for row in rows} == set(sites)
    for row in rows:
        _assert_row_is_site(row, sites[row["site"]], analysis)


@settings(max_examples=3)
@given(tanks(corals=True))
def test_report_shows_the_numbers_of_the_json(tank: DrawnTank) -> None:
    """Dose, its interval, peak, lux and hours of every site stand in the page, to the shown digit."""
    analysis = analysed(tank, certainty=True)
    page = report_page(Report(analysis, "cm", (), ()))
    table = re.search(r'<table[^>]*id="table-sites".*?</table>', page, re.DOTALL)
    assert table is not None
    # End tags of cells may be left out in HTML: a cell ends where the next begins.
    lines = [
        [
            re.sub(r"<[^>]*>", "", c).replace("\u00a0", " ").strip()
            for c in re.split(r"<t[hd]\b[^>]*>", row)[1:]
        ]
        for row in re.split(r"<tr\b[^>]*>", table[0])[1:]
    ]
    heads = lines[0]
    rows = {line[0]: dict(zip(heads, line, strict=True)) for line in lines[1:]}
    alike = re.search(r'<p class="note screen">([^<]*)</p>', page[page.index(table[0]) + len(table[0]) :])
    assert alike is not None
    for site in json.loads(json.dumps(dose_body(analysis), allow_nan=False))["sites"]:
        shown, interval = rows[site["site"]], site["interval_95"]
        lit = [site[key] for key in ("peak_equivalent_h", "photoperiod_h", "any_light_h")]
        full, period, any_light = (hours(math.nan if x is None else x) for x in lit)
        for head, text in (
            ("DLI mol", number(site["dli_mol_m2_d"])),
            ("DLI, 95 %", interval_text(interval["dli_mol_m2_d"])),
            ("peak µmol", number(site["peak_ppfd_umol_m2_s"])),
            ("peak, 95 %", interval_text(interval["peak_ppfd_umol_m2_s"])),
            ("lux at peak", number(site["lux_at_peak"])),
            ("full hours", full),
            ("lit", period),
            ("any light", any_light),
        ):
            column = next((name for name in heads if name.startswith(head)), None)
            if column is not None:
                assert shown[column] == text, head
            elif text != "-":  # alike for all sites: said in a sentence
                assert (
                    f"{head.partition(' mol')[0].partition(' µ')[0]} {text}".lower()
                    in alike[1].replace("\u00a0", " ").lower()
                )


def _assert_row_is_site(row: dict[str, str], site: dict, analysis: Analysis) -> None:
    def cell(key: str) -> float | None:
        return float(row[key]) if row[key] else None

    for key in ("dli_mol_m2_d", "peak_ppfd_umol_m2_s", "lux_at_peak", "photoperiod_h", "any_light_h"):
        assert cell(key) == site[key]
    assert cell("peak_equivalent_h") == site["peak_equivalent_h"]
    for band, dose in site["band_dose_mol_m2_d"].items():
        assert cell(f"{band}_dose_mol_m2_d") == dose
    assert cell("usable_dose_mol_m2_d") == site["usable_dose_mol_m2_d"]["default"]
    interval = site["interval_95"]
    assert [cell("dli_low_95_mol_m2_d"), cell("dli_high_95_mol_m2_d")] == interval["dli_mol_m2_d"]
    assert [cell("peak_low_95_umol_m2_s"), cell("peak_high_95_umol_m2_s")] == interval["peak_ppfd_umol_m2_s"]
    corals = {c["coral"]: c for c in site["corals"]}
    assert bool(row["coral"]) == bool(corals)
    if corals:
        coral = corals[row["coral"]]
        for key in ("group", "dli_state", "dli_verdict", "peak_state", "advice", "grade"):
            assert row[key].lstrip("'") == (coral[key] or "")
        assert [cell("band_dli_low_mol_m2_d"), cell("band_dli_high_mol_m2_d")] == coral["band_dli"]
        assert cell("probability_within") == coral["probability_within"]
    assert math.isfinite(site["dli_mol_m2_d"])
    assert analysis.setup.title == "drawn (invented)"
