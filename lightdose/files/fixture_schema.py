"""The keys of fixture.toml: kinds, defaults and what they mean, by table."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Final

from lightdose.files.toml_tables import (
    Key,
    Kind,
    Table,
    anything,
    checked,
    length,
    name,
    number,
    one_of,
    plain_number,
    refuse,
    show,
    whole,
)
from lightdose.files.value_patterns import between, number_or, pairs, two

FIXTURE_FORMAT: Final = "lightdose-fixture/1"
FLUX_KEYS: Final = ("photon_flux_umol_s", "ppf_umol_s", "radiant_flux_w", "luminous_flux_lm")
"""Ways to state a channel's light at full output, besides electrical_w with radiant_efficiency."""

MOST_POINTS: Final = 1000
"""Rows of a dimming curve or beam table, our choice."""


def _points(allowed: str) -> Callable[[object], list[tuple[float, float]]]:
    def check(value: object) -> list[tuple[float, float]]:
        if not isinstance(value, list):
            raise refuse(f"{show(value)} is not a list of points", allowed)
        if not 2 <= len(value) <= MOST_POINTS:
            raise refuse(f"{len(value)} points", f"2 to {MOST_POINTS} points: {allowed}")
        points = []
        for n, point in enumerate(value, 1):
            if not isinstance(point, list) or len(point) != 2:
                comma = isinstance(point, list) and len(point) == 3
                cure = "decimals have a point: [0.5, 3], not [0,5, 3]" if comma else ""
                raise refuse(f"point {n} is not a pair of numbers", allowed, cure)
            points.append((plain_number(point[0]), plain_number(point[1])))
        return points

    return check


def _points_kind(allowed: str, editor: Mapping[str, Any]) -> Kind:
    return checked(_points(allowed), allowed, editor)


def _efficiency(value: object) -> float | str:
    allowed = 'a number above 0, up to 1, or "typical"'
    if value == "typical":
        return "typical"
    efficiency = plain_number(value, "a radiant efficiency")
    if not 0 < efficiency <= 1:
        raise refuse(f"{show(value)} is outside the range", allowed, "write 0.45 for 45 %")
    return efficiency


DIMMING_ALLOWED: Final = "[[level, output], ...] in percent, levels rising from 0 to 100, outputs not falling"
BEAM_TABLE_ALLOWED: Final = "[[deg, relative], ...], angles rising from 0 to at most 90 deg"
_PERCENT: Final = between(0, 100)
_NOT_NEGATIVE: Final = {"type": "number", "minimum": 0}
_AT_0: Final = {"enum": [0]}
_DIMMING_EDITOR: Final = {
    **pairs(_PERCENT, _PERCENT, least=2, most=MOST_POINTS, first=two(_AT_0, _PERCENT)),
    "contains": two({"enum": [100]}, {"enum": [100]}),
}
_BEAM_EDITOR: Final = {
    **pairs(between(0, 90), _NOT_NEGATIVE, least=2, most=MOST_POINTS, first=two(_AT_0, _NOT_NEGATIVE)),
    "contains": two({"type": "number"}, {"type": "number", "exclusiveMinimum": 0}),
}

FIXTURE_FILE: Final = Table(
    {
        "format": Key(one_of(FIXTURE_FORMAT), f'"{FIXTURE_FORMAT}"', "what kind of file this is"),
        "name": Key(name(), '"demo panel"', "of this kind of fixture"),
        "aperture": Key(anything("a table { length, width }"), "...", "the emitting area", None),
        "emitters": Key(anything("a table { count, diameter }"), "...", "for eye safety only", None),
        "channel": Key(anything("tables [[channel]]"), "...", "the channels"),
    }
)

APERTURE: Final = Table(
    {
        "length": Key(length(0, 10), '"40 cm"', "along x at rotation 0"),
        "width": Key(length(0, 10), '"6 cm"', "along y at rotation 0"),
    }
)

EMITTERS: Final = Table(
    {
        "count": Key(whole(1, 100_000), "24", "number of light sources in the aperture"),
        "diameter": Key(length(0.0001, 1), '"8 mm"', "of each"),
    }
)

CHANNEL: Final = Table(
    {
        "name": Key(name(), '"blue 445"', "of this channel, as in the schedule"),
        "spectrum": Key(
            anything("{ peak_nm, fwhm_nm } | { file } | { library } | { mix }"),
            "{ peak_nm = 445, fwhm_nm = 20 }",
            "its colour",
        ),
        "photon_flux_umol_s": Key(
            number(0, 100_000, above=True, unit="umol/s"), "62", "all photons 300-800 nm at output 100", None
        ),
        "ppf_umol_s": Key(
            number(0, 100_000, above=True, unit="umol/s"), "60", "photons 400-700 nm at output 100", None
        ),
        "radiant_flux_w": Key(number(0, 10_000, above=True, unit="W"), "16", "light at output 100", None),
        "luminous_flux_lm": Key(
            number(0, 1_000_000, above=True, unit="lm"), "1200", "light at output 100", None
        ),
        "electrical_w": Key(
            number(0, 10_000, above=True, unit="W"), "24", "power drawn at output 100; for energy", None
        ),
        "radiant_efficiency": Key(
            checked(
                _efficiency,
                'a number above 0, up to 1, or "typical"',
                number_or(0, 1, "typical", above=True),
            ),
            "0.45",
            "light out per electricity in",
            None,
        ),
        "beam": Key(anything("{ fwhm_deg } | { table } | { file }"), "{ fwhm_deg = 90 }", "its spread", None),
        "dimming": Key(
            _points_kind(DIMMING_ALLOWED, _DIMMING_EDITOR),
            "[[0, 0], [50, 46], [100, 100]]",
            "output against level",
            None,
        ),
    }
)

_PEAK = Key(number(300, 800, unit="nm"), "445", "wavelength of the maximum")
_FWHM = Key(number(1, 200, unit="nm"), "20", "full width at half maximum")
_SHARE = Key(number(0, 1e6, above=True), "0.7", "share of the photons")

SPECTRUM_FORMS: Final[Mapping[str, Table]] = {
    "peak_nm": Table({"peak_nm": _PEAK, "fwhm_nm": _FWHM}),
    "file": Table(
        {
            "file": Key(name(), '"blue.csv"', "spectrum file"),
            "quantity": Key(one_of("power", "photons"), '"power"', "what its values are", None),
        }
    ),
    "library": Table({"library": Key(name(), '"blue-445"', "an entry of the library")}),
    "mix": Table(
        {"mix": Key(anything("a list of spectra, each with its share"), "[...]", "several spectra")}
    ),
}

BEAM_FORMS: Final[Mapping[str, Table]] = {
    "fwhm_deg": Table(
        {"fwhm_deg": Key(number(2, 175, unit="deg"), "90", "full width at half maximum, in the air")}
    ),
    "table": Table(
        {
            "table": Key(
                _points_kind(BEAM_TABLE_ALLOWED, _BEAM_EDITOR),
                "[[0, 1], [30, 0.8], [60, 0]]",
                "intensity against angle",
            )
        }
    ),
    "file": Table({"file": Key(name(), '"beam.ies"', "IES LM-63 or EULUMDAT file")}),
}


def with_share(form: Table) -> Table:
    """A form of a spectrum as a part of a mix."""
    return Table({**form.keys, "share": _SHARE})


TABLES: Final[Mapping[str, Table]] = {
    "aperture": APERTURE,
    "emitters": EMITTERS,
    "channel": CHANNEL,
    **{f"channel.spectrum ({key})": form for key, form in SPECTRUM_FORMS.items()},
    **{f"channel.beam ({key})": form for key, form in BEAM_FORMS.items()},
}
"""Every table of fixture.toml by its name, for the documentation and the tests that hold it."""
