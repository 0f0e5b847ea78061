"""fixture.toml: its keys, and a FixtureType of them: channels with spectrum, flux, beam and dimming."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any, Final

import numpy as np

from lightdose.files.input_files import InputFiles
from lightdose.files.setup_schema import MOST_CHANNELS
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import (
    Key,
    Kind,
    Table,
    TomlDocument,
    anything,
    checked,
    counted,
    length,
    name,
    number,
    one_of,
    plain_number,
    problem_at,
    refuse,
    show,
    value_at,
    whole,
)
from lightdose.files.units import between, number_or, pairs, two
from lightdose.model.fixture import (
    DEFAULT_BEAM_FWHM_DEG,
    MOST_FLUX_UMOL_S,
    Aperture,
    Beam,
    Channel,
    CosineLobe,
    DimmingCurve,
    Emitters,
    FixtureType,
    Flux,
    PhotometricLobe,
    TabulatedLobe,
    computable,
)
from lightdose.model.spectrum import ChannelSpectrum, LedPeak, SpectralDistribution, SpectrumMix

FIXTURE_FORMAT: Final = "lightdose-fixture/1"
FLUX_KEYS: Final = ("photon_flux_umol_s", "ppf_umol_s", "radiant_flux_w", "luminous_flux_lm")
"""Ways to state a channel's light at full output, besides electrical_w with radiant_efficiency."""

CONTRADICTION_AT_MOST: Final = 0.05
"""Watts of a fixture and the sum of its channels' may differ by this share. Our choice."""

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
_PHOTONS: Final = number(0, MOST_FLUX_UMOL_S, above=True, unit="umol/s")
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
        "electrical_w": Key(
            number(0, 10_000, above=True, unit="W"),
            "95",
            "power that all channels draw together at output 100; for energy",
            None,
        ),
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
        "photon_flux_umol_s": Key(_PHOTONS, "62", "all photons 300-800 nm at output 100", None),
        "ppf_umol_s": Key(_PHOTONS, "60", "photons 400-700 nm at output 100", None),
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


def read_fixture_type(path: Path, files: InputFiles) -> FixtureType | None:
    """The fixture type that a file describes; None, with problems, if a part cannot be used."""
    document = files.document(path, FIXTURE_FORMAT)
    return None if document is None else _FixtureReading(document, files).fixture_type()


class _FixtureReading:
    def __init__(self, document: TomlDocument, files: InputFiles) -> None:
        self.document = document
        self.files = files
        self.problems = files.problems
        self.assumed_beams: list[str] = []
        self.typical: list[str] = []
        self.library: dict[str, None] = {}
        self.lobes: dict[str, PhotometricLobe | None] = {}
        self.spectra: dict[tuple[str, str | None], SpectralDistribution | None] = {}

    def fixture_type(self) -> FixtureType | None:
        already = len(self.problems)
        top = FIXTURE_FILE.read(self.document, (), self.problems)
        channels = self._channels(top.get("channel"))
        aperture = self._aperture(top.get("aperture"))
        emitters = self._emitters(top.get("emitters"))
        whole_w = top.get("electrical_w")
        if whole_w is not None and len(self.problems) == already:
            self._check_power(top["name"], whole_w, channels)
        if len(self.problems) > already:
            return None
        self._say_what_was_assumed(top["name"])
        place = self.document.value_place(("aperture",)) if top.get("aperture") else None
        return FixtureType(top["name"], tuple(channels), aperture, emitters, place, whole_w)

    def _check_power(self, name: str, whole_w: float, channels: list[Channel]) -> None:
        """Watts of the fixture beside those of its channels, which stand where each has its own."""
        own = [c.electrical_w for c in channels if c.electrical_w is not None]
        total_w = sum(own)
        told = f"{whole_w:g} W, and {counted(len(own), 'channel')} of it {total_w:g} W"
        if len(own) < len(channels):
            if total_w >= whole_w:
                self._refuse(("electrical_w",), told, f"above {total_w:g} W, for all channels")
            self.files.understood.append(
                f"{name}: {whole_w:g} W for the whole fixture, shared among channels without watts of their "
                "own by the power of their light at full output (our choice)"
            )
        elif abs(total_w - whole_w) > CONTRADICTION_AT_MOST * whole_w:
            allowed = f"within {100 * CONTRADICTION_AT_MOST:g} % of the sum of its channels"
            self._refuse(("electrical_w",), told, allowed, "keep what was measured, and leave the other out")

    def _say_what_was_assumed(self, name: str) -> None:
        said = self.files.understood
        if self.library:
            said.append(f"{name}: library spectra {', '.join(self.library)}")
        if self.assumed_beams:
            said.append(
                f"{name}: no beam given for {_listed(self.assumed_beams)}: "
                f"{DEFAULT_BEAM_FWHM_DEG:g} deg assumed, a wide interval"
            )
        if self.typical:
            said.append(
                f"{name}: typical radiant efficiency for {_listed(self.typical)} "
                "(by colour, our choice, good to a factor of 2)"
            )

    # ---- parts ------------------------------------------------------------------------------------------

    def _refuse(
        self, path: KeyPath, found: str, allowed: str = "", cure: str = "", *, key: bool = False
    ) -> None:
        self.problems.append(problem_at(self.document, path, found, allowed, cure, key=key))

    def _aperture(self, given: object) -> Aperture:
        if given is None:
            return Aperture()
        values = APERTURE.read(self.document, ("aperture",), self.problems)
        return Aperture(values.get("length", 0.0), values.get("width", 0.0))

    def _emitters(self, given: object) -> Emitters | None:
        if given is None:
            return None
        values = EMITTERS.read(self.document, ("emitters",), self.problems)
        return Emitters(values["count"], values["diameter"]) if len(values) == len(EMITTERS.keys) else None

    def _channels(self, given: object) -> list[Channel]:
        if given is None:
            return []
        if isinstance(given, dict):
            self._refuse(
                ("channel",), "one pair of brackets", "[[channel]], two brackets", "write [[channel]]"
            )
            return []
        if not isinstance(given, list) or not given:
            self._refuse(("channel",), f"{show(given)} is not a list of channels", "tables [[channel]]")
            return []
        if len(given) > MOST_CHANNELS:
            self._refuse(("channel",), f"{len(given):,} channels", f"up to {MOST_CHANNELS}")
            return []
        seen: dict[str, int] = {}
        channels = [self._channel(("channel", n), seen) for n in range(len(given))]
        return [c for c in channels if c is not None]

    def _channel(self, path: KeyPath, seen: dict[str, int]) -> Channel | None:
        already = len(self.problems)
        values = CHANNEL.read(self.document, path, self.problems)
        name = values.get("name", "")
        if name in ("time", "all_channels"):
            self._refuse(
                (*path, "name"), f'"{name}" is a reserved name of schedule files', cure="name it anew"
            )
        if name and name in seen:
            self._refuse(
                (*path, "name"), f'"{name}" names channel {seen[name]} already', "each name once in a fixture"
            )
        seen.setdefault(name, len(seen) + 1)
        spectrum = self._spectrum((*path, "spectrum")) if "spectrum" in values else None
        flux = self._flux(path, values, spectrum)
        beam = self._beam((*path, "beam"), values.get("beam"), name)
        dimming = self._dimming((*path, "dimming"), values.get("dimming"))
        if len(self.problems) > already or spectrum is None:
            return None
        if flux is not None and flux.typical:
            self.typical.append(name)
        place = self.document.value_place((*path, "name"))
        return Channel(name, spectrum, beam, dimming, flux, values["electrical_w"], place)

    def _flux(self, path: KeyPath, values: dict[str, Any], spectrum: ChannelSpectrum | None) -> Flux | None:
        given = [k for k in FLUX_KEYS if values.get(k) is not None]
        efficiency = values.get("radiant_efficiency")
        if efficiency is not None:
            given.append("radiant_efficiency")
        if len(given) > 1:
            self._refuse(
                (*path, given[1]),
                f"the light is stated twice: {' and '.join(given)}",
                "one of them",
                f"keep the one you trust; take {given[1]} away otherwise",
                key=True,
            )
            return None
        if efficiency is None:
            return Flux(given[0], values[given[0]]) if given else None  # type: ignore[arg-type]
        electrical_w = values.get("electrical_w")
        if electrical_w is None:
            if "electrical_w" not in value_at(self.document.data, path):
                self._refuse(
                    (*path, "radiant_efficiency"),
                    "radiant_efficiency stands without electrical_w",
                    cure="add electrical_w = (watts drawn at output 100)",
                    key=True,
                )
            return None
        if efficiency == "typical":
            if spectrum is None:
                return None
            from lightdose.files.library import typical_radiant_efficiency

            return Flux("electrical_w", electrical_w, typical_radiant_efficiency(spectrum), typical=True)
        return Flux("electrical_w", electrical_w, efficiency)

    def _form(
        self, path: KeyPath, forms: Mapping[str, Table], *, share: bool = False
    ) -> dict[str, Any] | None:
        """Which of several forms the table at ``path`` has, and its values."""
        found = value_at(self.document.data, path)
        allowed = " | ".join(
            "{ " + ", ".join(f"{n} = {k.example}" for n, k in form.keys.items()) + " }"
            for form in forms.values()
        )
        if not isinstance(found, dict):
            cure = ""
            if isinstance(found, int | float) and not isinstance(found, bool) and "fwhm_deg" in forms:
                cure = f"write {{ fwhm_deg = {show(found)} }}"
            self._refuse(path, f"{show(found)} is not a table", allowed, cure)
            return None
        named = [key for key in forms if key in found]
        if not named and "fwhm_nm" in found:
            named = ["peak_nm"]
        if len(named) != 1:
            says = f"{' and '.join(named)} stand together" if named else "none of its forms is given"
            self._refuse(path, says, allowed)
            return None
        form = forms[named[0]]
        already = len(self.problems)
        values = (with_share(form) if share else form).read(self.document, path, self.problems)
        return values if len(self.problems) == already else None

    # ---- spectrum ---------------------------------------------------------------------------------------

    def _spectrum(self, path: KeyPath) -> ChannelSpectrum | None:
        values = self._form(path, SPECTRUM_FORMS)
        if values is None:
            return None
        if "mix" in values:
            return self._mix((*path, "mix"), values["mix"])
        return self._plain_spectrum(path, values)

    def _plain_spectrum(self, path: KeyPath, values: dict[str, Any]) -> ChannelSpectrum | None:
        if "peak_nm" in values:
            return LedPeak(values["peak_nm"], values["fwhm_nm"])
        if "library" in values:
            return self._library((*path, "library"), values["library"])
        return self._file((*path, "file"), values["file"], values["quantity"])

    def _mix(self, path: KeyPath, given: object) -> SpectrumMix | None:
        if not isinstance(given, list) or not given or len(given) > 100:
            self._refuse(
                path, f"{show(given)} is not a list of 1 to 100 spectra", "[ {..., share = 0.7}, ... ]"
            )
            return None
        plain = {key: form for key, form in SPECTRUM_FORMS.items() if key != "mix"}
        parts: list[tuple[ChannelSpectrum, float]] = []
        for n in range(len(given)):
            if isinstance(given[n], dict) and "mix" in given[n]:
                self._refuse(
                    (*path, n, "mix"), "a mix inside a mix", "plain spectra, each with its share", key=True
                )
                continue
            values = self._form((*path, n), plain, share=True)
            part = self._plain_spectrum((*path, n), values) if values is not None else None
            if values is not None and part is not None:
                parts.append((part, values["share"]))
        return SpectrumMix(tuple(parts)) if len(parts) == len(given) else None

    def _library(self, path: KeyPath, name: str) -> SpectralDistribution | None:
        from lightdose.files.library import read_emitter

        with self.files.collecting(self.document.value_place(path)):
            spectrum = read_emitter(name)
            self.library[name] = None
            return spectrum
        return None

    def _file(self, path: KeyPath, named: str, quantity: Any) -> SpectralDistribution | None:
        if (named, quantity) in self.spectra:
            return self.spectra[named, quantity]
        self.spectra[named, quantity] = None
        found = self.files.find(named, self.document.value_place(path), beside=self.document.file)
        if found is None:
            return None
        from lightdose.files.spectrum_file import read_spectrum

        with self.files.collecting(self.document.value_place(path)):
            spectrum = read_spectrum(found, str(found), quantity)
            notes = "; ".join((spectrum.origin, *spectrum.notes)).strip("; ")
            self.files.understood.append(
                f"{found}: {spectrum.wavelength_nm.size} values, {spectrum.wavelength_nm[0]:g}-"
                f"{spectrum.wavelength_nm[-1]:g} nm, {spectrum.quantity}" + (f"; {notes}" if notes else "")
            )
            self.spectra[named, quantity] = spectrum
        return self.spectra[named, quantity]

    # ---- beam and dimming -------------------------------------------------------------------------------

    def _beam(self, path: KeyPath, given: object, name: str) -> Beam:
        default = CosineLobe(DEFAULT_BEAM_FWHM_DEG, assumed=True)
        if given is None:
            self.assumed_beams.append(name)
            return default
        values = self._form(path, BEAM_FORMS)
        if values is None:
            return default
        if "fwhm_deg" in values:
            return CosineLobe(values["fwhm_deg"])
        if "table" in values:
            return self._beam_table((*path, "table"), values["table"]) or default
        return self._photometric((*path, "file"), values["file"]) or default

    def _beam_table(self, path: KeyPath, points: list[tuple[float, float]]) -> TabulatedLobe | None:
        angles, relative = [p[0] for p in points], [p[1] for p in points]
        if angles[0] != 0:
            self._refuse((*path, 0, 0), f"the angles begin at {angles[0]:g}, not at 0", BEAM_TABLE_ALLOWED)
        for n, (angle, intensity) in enumerate(points):
            if n and angle <= angles[n - 1]:
                self._refuse((*path, n, 0), f"{angle:g} deg does not rise", BEAM_TABLE_ALLOWED)
            elif angle > 90:
                self._refuse((*path, n, 0), f"{angle:g} deg is outside 0 to 90 deg", BEAM_TABLE_ALLOWED)
            if intensity < 0:
                self._refuse((*path, n, 1), f"{intensity:g} is below 0", BEAM_TABLE_ALLOWED)
        if not any(relative):
            self._refuse(path, "every intensity is 0", "at least one above 0")
        sound = all(a < b for a, b in pairwise(angles)) and any(relative)
        if sound and angles[0] == 0 and angles[-1] <= 90 and min(relative) >= 0:
            return TabulatedLobe(np.array(angles), computable(np.array(relative)))
        return None

    def _photometric(self, path: KeyPath, named: str) -> PhotometricLobe | None:
        """An IES or EULUMDAT file, read once however many channels name it."""
        if named in self.lobes:
            return self.lobes[named]
        self.lobes[named] = None
        place = self.document.value_place(path)
        found = self.files.find(named, place, beside=self.document.file)
        if found is None:
            return None
        from lightdose.files.photometric import read_photometric

        with self.files.collecting(place):
            lobe = read_photometric(found, str(found))
            self.files.understood.append(
                f"{found}: {counted(lobe.c_deg.size - 1, 'plane')}, {lobe.gamma_deg.size} angles"
            )
            self.lobes[named] = lobe
        return self.lobes[named]

    def _dimming(self, path: KeyPath, points: list[tuple[float, float]] | None) -> DimmingCurve:
        if points is None:
            return DimmingCurve.linear()
        already = len(self.problems)
        if points[0][0] != 0:
            self._refuse((*path, 0, 0), f"the levels begin at {points[0][0]:g}, not at 0", DIMMING_ALLOWED)
        if points[-1][0] != 100:
            last = (*path, len(points) - 1)
            cure = "write percent, not fractions" if points[-1][0] <= 1 else ""
            self._refuse(
                (*last, 0), f"the levels end at {points[-1][0]:g}, not at 100", DIMMING_ALLOWED, cure
            )
        elif points[-1][1] != 100:
            last = (*path, len(points) - 1)
            self._refuse((*last, 1), f"output {points[-1][1]:g} at level 100, not 100", DIMMING_ALLOWED)
        for n, (level, output) in enumerate(points):
            if n and level <= points[n - 1][0]:
                self._refuse((*path, n, 0), f"level {level:g} does not rise", DIMMING_ALLOWED)
            if n and output < points[n - 1][1]:
                self._refuse((*path, n, 1), f"output {output:g} falls", DIMMING_ALLOWED)
            if not 0 <= output <= 100 or not 0 <= level <= 100:
                self._refuse((*path, n), f"[{level:g}, {output:g}] is outside 0 to 100", DIMMING_ALLOWED)
        if len(self.problems) > already:
            return DimmingCurve.linear()
        return DimmingCurve(
            np.array([p[0] for p in points]) / 100.0, np.array([p[1] for p in points]) / 100.0
        )


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{len(names)} channels ({', '.join(names)})"
