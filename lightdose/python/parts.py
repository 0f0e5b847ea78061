"""Parts of a setup made in code: each tells what its table in a file tells, in the same words.

A length is a number of metres, or text with a unit ("75 cm"); a bare number that looks like centimetres is
asked about. Levels are percent and times are "08:00", or hours as a number. What a part gets wrong is refused
when it is made, with the message that the same words in a file get.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.fixture_file import CHANNEL
from lightdose.files.setup_schema import CORAL, FIXTURE, METER, RACK, ROCK, SITE, TANK
from lightdose.files.toml_tables import Table, TomlDocument
from lightdose.files.units import format_time_exact
from lightdose.model import fixture as records
from lightdose.model.spectrum import LedPeak, SpectralDistribution, SpectralTable, SpectrumMix
from lightdose.python.lengths import Length, length_text
from lightdose.python.reading import in_code, read_type, spectrum_named

if TYPE_CHECKING:
    Light = LedPeak | SpectralDistribution | SpectrumMix | str | Path
    Times = (
        Mapping[str, float]
        | Mapping[int, float]
        | Mapping[float, float]
        | Mapping[str | int, float]
        | Mapping[str | float, float]
        | Sequence[tuple[str | float, float]]
    )


class Part:
    """A part of a setup, told in the words of the files.

    Attributes
    ----------
    table : its keys and values, as in a file
    """

    def __init__(self, kind: Table, what: str, table: Mapping[str, Any]) -> None:
        self.table = {key: value for key, value in table.items() if value is not None}
        problems: list[Problem] = []
        self.values = kind.read(TomlDocument("", "", {what: self.table}), (what,), problems)
        if problems:
            raise SetupError(*(replace(p, place=None) for p in problems))

    def __repr__(self) -> str:
        told = ", ".join(f"{key}={value!r}" for key, value in self.table.items())
        return f"{type(self).__name__}({told})"


def _number(value: Any) -> Any:
    """A number of numpy as Python's own; anything else as it is."""
    return value.item() if getattr(value, "ndim", None) == 0 and hasattr(value, "item") else value


def _named(kind: str, name: object) -> str:
    return f"{kind} {name!r}"


def _at(**lengths: Length | None) -> dict[str, str]:
    return {key: length_text(value, key) for key, value in lengths.items() if value is not None}


def _maybe(value: Length | None, key: str) -> str | None:
    return None if value is None else length_text(value, key)


class Tank(Part):
    """The displayed water; x runs left to right, y front to back, depth down from the surface.

    Parameters
    ----------
    length, width, water_depth : inside. [m]
    glass_thickness, rim : 10 mm and none by default. [m]
    walls : side -> "clean", "painted", "dark", or a reflectance 0 to 1
    glass_index, floor_reflectance : 1.52 and 0.3 by default

    Examples
    --------
    >>> Tank("75 cm", 0.45, "40 cm", walls={"back": "painted"})
    Tank(length='75 cm', width='45 cm', water_depth='40 cm', walls={'back': 'painted'})
    >>> Tank("75 cm", "45 cm", "40 cm", walls={"bakc": "painted"})
    Traceback (most recent call last):
    lightdose.errors.SetupError: tank walls: the key bakc is not known
        allowed: front, back, left, right
        mend it: did you mean back?
    """

    def __init__(
        self,
        length: Length,
        width: Length,
        water_depth: Length,
        *,
        glass_thickness: Length | None = None,
        glass_index: float | None = None,
        rim: Length | None = None,
        walls: Mapping[str, str | float] | None = None,
        floor_reflectance: float | None = None,
    ) -> None:
        sides = _at(length=length, width=width, water_depth=water_depth)
        more = _at(glass_thickness=glass_thickness, rim=rim)
        table = {
            **sides,
            **more,
            "glass_index": _number(glass_index),
            "walls": None if walls is None else {s: _number(kind) for s, kind in _sides(walls).items()},
            "floor_reflectance": _number(floor_reflectance),
        }
        super().__init__(TANK, "tank", table)


def _sides(walls: Any) -> Mapping[str, Any]:
    return _mapping(walls, "walls", 'a mapping such as {"back": "painted"}')


class Channel(Part):
    """One channel of a kind of fixture; its light at full output is told in one of five ways.

    Parameters
    ----------
    spectrum : ``Led(450, 20)``, a ``Spectrum``, an entry of the library, a file, or pairs of these and shares
    photon_flux_umol_s : all photons, 300-800 nm
    ppf_umol_s : photons, 400-700 nm
    radiant_flux_w, luminous_flux_lm : light
    electrical_w, radiant_efficiency : power drawn, and light out per electricity in, or "typical"
    beam_deg : full width at half maximum, in the air
    beam : pairs of angle and intensity, or an IES or EULUMDAT file
    dimming : pairs of level and output. [percent]
    """

    def __init__(
        self,
        name: str,
        spectrum: Light | Sequence[tuple[Light, float]],
        *,
        photon_flux_umol_s: float | None = None,
        ppf_umol_s: float | None = None,
        radiant_flux_w: float | None = None,
        luminous_flux_lm: float | None = None,
        electrical_w: float | None = None,
        radiant_efficiency: float | str | None = None,
        beam_deg: float | None = None,
        beam: Sequence[tuple[float, float]] | str | Path | None = None,
        dimming: Sequence[tuple[float, float]] | None = None,
    ) -> None:
        if beam_deg is not None and beam is not None:
            raise TypeError(f"channel {name!r}: beam_deg and beam stand together; keep one of them")
        self.light = spectrum_named(spectrum)
        told: Any = {"fwhm_deg": _number(beam_deg)} if beam_deg is not None else None
        if beam is not None:
            told = {"file": str(beam)} if isinstance(beam, str | Path) else {"table": _pairs(beam, "beam")}
        table = {
            "name": name,
            "spectrum": {},
            "photon_flux_umol_s": _number(photon_flux_umol_s),
            "ppf_umol_s": _number(ppf_umol_s),
            "radiant_flux_w": _number(radiant_flux_w),
            "luminous_flux_lm": _number(luminous_flux_lm),
            "electrical_w": _number(electrical_w),
            "radiant_efficiency": _number(radiant_efficiency),
            "beam": told,
            "dimming": None if dimming is None else _pairs(dimming, "dimming"),
        }
        super().__init__(CHANNEL, _named("channel", name), table)


def _pairs(points: Any, what: str) -> list[list[Any]]:
    wanted = "pairs of numbers, such as [(0, 0), (100, 100)]"
    each = [
        _several(point, what, wanted, len(point) if hasattr(point, "__len__") else 2)
        for point in _several(points, what, wanted)
    ]
    return [[_number(value) for value in point] for point in each]


class FixtureType:
    """A kind of fixture.

    Parameters
    ----------
    channels : in the order of the results
    aperture : length and width of the emitting area; a point by default. [m]
    emitters : count and diameter of its light sources, for eye safety only
    electrical_w : power of all channels together at full output

    Attributes
    ----------
    record : what the readers of a fixture file make of it
    """

    def __init__(
        self,
        name: str,
        channels: Sequence[Channel | records.Channel],
        *,
        aperture: tuple[Length, Length] | None = None,
        emitters: tuple[int, Length] | None = None,
        electrical_w: float | None = None,
    ) -> None:
        watts = _number(electrical_w)
        if watts is not None and not isinstance(watts, int | float):
            raise TypeError(f"electrical_w: a number of watts, not {electrical_w!r}")
        top: dict[str, Any] = {"name": _of_type(name, (str,), "name"), "electrical_w": watts}
        if aperture is not None:
            length, width = _several(aperture, "aperture", 'length and width, such as ("40 cm", "6 cm")', 2)
            top["aperture"] = _at(length=length, width=width)
        if emitters is not None:
            count, across = _several(emitters, "emitters", 'count and diameter, such as (24, "8 mm")', 2)
            top["emitters"] = {"count": _number(count), **_at(diameter=across)}
        several = _several(channels, "channels", "a list of Channel")
        self.record = read_type(top, [_of_type(c, (Channel, records.Channel), "channels") for c in several])

    def __repr__(self) -> str:
        return f"FixtureType({self.record.name!r}, {len(self.record.channels)} channels)"


def _mapping(value: Any, what: str, wanted: str) -> Mapping[str, Any]:
    if not isinstance(value, Mapping) or not all(isinstance(key, str) for key in value):
        raise TypeError(f"{what}: {wanted}, not {value!r}")
    return value


def _several(value: Any, what: str, wanted: str, count: int | None = None) -> Sequence[Any]:
    """Several values, ``count`` of them where that is told: no text, and no mapping."""
    one = isinstance(value, str | bytes | Mapping) or not (
        hasattr(value, "__len__") and hasattr(value, "__iter__")
    )
    if one or count not in (None, len(value)):
        raise TypeError(f"{what}: {wanted}, not {value!r}")
    return list(value)


def _of_type(value: Any, kinds: tuple[type, ...], what: str) -> Any:
    if not isinstance(value, kinds):
        raise TypeError(f"{what}: a {kinds[0].__name__} is wanted, not {value!r}")
    return value


class Programme:
    """Levels through the day: straight lines between points, and off outside them.

    Parameters
    ----------
    channels : channel -> times and levels, as a mapping or pairs; a time is "08:00", or hours. [percent]

    Examples
    --------
    >>> Programme({"blue": {"08:00": 0, "10:00": 60, "18:00": 60, 20.5: 0}}).record.span_h
    (8.0, 20.5)
    """

    def __init__(self, channels: Mapping[str, Times]) -> None:
        self.points: dict[str, list[tuple[object, object]]] = {}
        wanted = 'times and levels, such as {"08:00": 0, "10:00": 60}'
        for name, given in _mapping(channels, "channels", f'{{"blue": ...}} with {wanted}').items():
            pairs = given.items() if isinstance(given, Mapping) else _several(given, repr(name), wanted)
            both = [_several(pair, repr(name), wanted, 2) for pair in pairs]
            self.points[name] = [(_clock(time), _number(level)) for time, level in both]
        self.record = self.of(tuple(self.points))

    def of(self, channels: tuple[str, ...]) -> records.Programme:
        """The programme of a fixture with these channels; ScheduleError where one has no points."""
        from lightdose.files.schedule_csv import programme_from_points

        with in_code():
            return programme_from_points(self.points, channels, lambda _: Place(""))

    def __repr__(self) -> str:
        return f"Programme({', '.join(map(repr, self.points))})"


def _clock(time: Any) -> Any:
    time = _number(time)
    if isinstance(time, bool) or not isinstance(time, int | float):
        return time
    if not (math.isfinite(time) and 0 <= time <= 48):
        raise ValueError(f"a time of {time} h is outside 0 to 48 h")
    return "24:00" if time == 24 else format_time_exact(time)


class Fixture(Part):
    """A fixture that hangs over the tank and runs a programme.

    Parameters
    ----------
    type : a ``FixtureType``, or a fixture file
    x, y : centre of the emitting area, from the left and the front wall. [m]
    height : above the water. [m]
    programme : a ``Programme``, or a schedule file
    rotation_deg : counter-clockwise seen from above
    output_scale : salt film, age

    Attributes
    ----------
    record : what the readers of files make of it
    """

    def __init__(
        self,
        name: str,
        type: FixtureType | records.FixtureType | str | Path,
        x: Length,
        y: Length,
        height: Length,
        programme: Programme | records.Programme | str | Path,
        *,
        rotation_deg: float | None = None,
        enabled: bool | None = None,
        output_scale: float | None = None,
    ) -> None:
        at = _at(x=x, y=y, height=height)
        table = {
            "name": name,
            "type": "a kind",
            "at": at if rotation_deg is None else at | {"rotation_deg": _number(rotation_deg)},
            "schedule": {},
            "enabled": enabled,
            "output_scale": _number(output_scale),
        }
        super().__init__(FIXTURE, _named("fixture", name), table)
        kind = _kind(type)
        hung, values = self.values["at"], self.values
        self.record = records.Fixture(
            values["name"],
            kind,
            hung["x"],
            hung["y"],
            hung["height"],
            _programme(programme, tuple(c.name for c in kind.channels)),
            hung["rotation_deg"],
            values["enabled"],
            values["output_scale"],
        )


def _kind(given: Any) -> records.FixtureType:
    if isinstance(given, str | Path):
        from lightdose.files.fixture_file import read_fixture_type
        from lightdose.files.input_files import InputFiles

        files = InputFiles()
        found = files.find(str(given), None)
        kind = None if found is None else read_fixture_type(found, files)
        files.finish()
        assert kind is not None
        return kind
    told = _of_type(given, (FixtureType, records.FixtureType), "type")
    made: records.FixtureType = told.record if isinstance(told, FixtureType) else told
    return made


def _programme(given: Any, channels: tuple[str, ...]) -> records.Programme:
    if isinstance(given, str | Path):
        from lightdose.files.schedule_csv import read_schedule

        return read_schedule(Path(given), str(given), channels)[0]
    told = _of_type(given, (Programme, records.Programme), "programme")
    made: records.Programme = told.of(channels) if isinstance(told, Programme) else told
    return made


class Site(Part):
    """A named place.

    Parameters
    ----------
    x, y : from the left and the front wall. [m]
    depth, height : below the surface, or above the floor. [m]
    open_sky : share of the light from above that reaches it, or words such as "under a ledge"
    on : "rock", "sand", "wall" or "rack"
    faces : "front", "back", "left", "right", "down", or toward_deg and tilt_deg
    """

    def __init__(
        self,
        name: str,
        x: Length,
        y: Length,
        depth: Length | None = None,
        *,
        height: Length | None = None,
        open_sky: float | str | None = None,
        on: str | None = None,
        faces: str | Mapping[str, float] | None = None,
    ) -> None:
        table = {
            "name": name,
            "at": _at(x=x, y=y, depth=depth, height=height),
            "open_sky": _number(open_sky),
            "on": on,
            "faces": dict(faces) if isinstance(faces, Mapping) else faces,
        }
        super().__init__(SITE, _named("site", name), table)


class Rack(Part):
    """A grid of places: A1, A2, ... in the first row.

    Parameters
    ----------
    name : of the first row
    x, y, depth : of the first place. [m]
    columns, rows : places in a row, and rows
    pitch : from column to column and from row to row, one length or two. [m]
    """

    def __init__(
        self,
        name: str,
        x: Length,
        y: Length,
        depth: Length,
        *,
        columns: int,
        rows: int,
        pitch: Length | tuple[Length, Length],
        row_names: Sequence[str] | None = None,
        on: str | None = None,
        faces: str | Mapping[str, float] | None = None,
    ) -> None:
        both = pitch if isinstance(pitch, tuple) else (pitch, pitch)
        across, along = _several(both, "pitch", 'one length or two, such as ("5 cm", "6 cm")', 2)
        names = None if row_names is None else _several(row_names, "row_names", 'such as ["A", "B"]')
        table = {
            "name": name,
            "corner": _at(x=x, y=y, depth=depth),
            "pitch": _at(x=across, y=along),
            "columns": _number(columns),
            "rows": _number(rows),
            "row_names": names,
            "on": on,
            "faces": dict(faces) if isinstance(faces, Mapping) else faces,
        }
        super().__init__(RACK, _named("rack", name), table)


class Coral(Part):
    """A coral: at a site, at a place of its own, or without a place yet.

    Parameters
    ----------
    group : its group, genus or trade name
    site : where it sits; or x, y and depth. [m]
    height : it is judged at its top. [m]
    more : keys of its table in a file, lengths as everywhere: open_sky, pinned, keep_apart, on, previous,
        dli_band, peak_max, faces, form, diameter, passes
    """

    def __init__(
        self,
        name: str,
        group: str,
        site: str | None = None,
        *,
        x: Length | None = None,
        y: Length | None = None,
        depth: Length | None = None,
        height: Length | None = None,
        diameter: Length | None = None,
        keep_apart: Length | None = None,
        growth: Mapping[str, Length] | None = None,
        **more: Any,
    ) -> None:
        at = _at(x=x, y=y, depth=depth)
        table = {
            "name": name,
            "group": group,
            "site": site,
            "at": at or None,
            "height": _maybe(height, "height"),
            "diameter": _maybe(diameter, "diameter"),
            "keep_apart": _maybe(keep_apart, "keep_apart"),
            "growth": None if growth is None else _at(**_mapping(growth, "growth", _GROWTH)),
            **{key: _listed(value) for key, value in more.items()},
        }
        unknown = [key for key in more if key not in CORAL.keys]
        if unknown:
            known = ", ".join(key for key in CORAL.keys if key not in ("genus", "at"))
            raise TypeError(f"a coral has no {unknown[0]!r}; it has {known}")
        super().__init__(CORAL, _named("coral", name), table)


_GROWTH: Final = 'lengths a month, such as {"diameter": "5 mm"}'


def _listed(value: Any) -> Any:
    value = _number(value)
    return [_number(v) for v in value] if isinstance(value, tuple) else value


class Rock(Part):
    """A solid of rock, or of anything else that stands in the water.

    Parameters
    ----------
    shape : "box", "ellipsoid", "cylinder", or "slab", which is named by its top
    x, y : of its centre. [m]
    size : along x, y and upwards. [m]
    height, depth : of its centre above the floor, or below the surface. [m]
    """

    def __init__(
        self,
        name: str,
        shape: str,
        x: Length,
        y: Length,
        *,
        size: tuple[Length, Length, Length],
        height: Length | None = None,
        depth: Length | None = None,
        turn_deg: float | None = None,
        reflectance: float | None = None,
    ) -> None:
        along_x, along_y, up = _several(size, "size", "three lengths: along x, along y and upwards", 3)
        table = {
            "name": name,
            "shape": shape,
            "at": _at(x=x, y=y, height=height, depth=depth),
            "size": _at(x=along_x, y=along_y, z=up),
            "turn_deg": _number(turn_deg),
            "reflectance": _number(reflectance),
        }
        super().__init__(ROCK, _named("rock", name), table)


class Meter(Part):
    """A light meter.

    Parameters
    ----------
    reads : "umol" or "lux"
    response : shape of its sensor's response, such as "soft", or a table of it
    calibrated_on : "A", "D65", a CIE LED such as "LED-B3", "unknown", or a ``Spectrum``
    immersion : a factor 1 to 2, "built in" or "unknown"; readings under water need it
    standard_uncertainty : as a fraction
    """

    def __init__(
        self,
        name: str,
        reads: str = "umol",
        *,
        response: str | SpectralTable | None = None,
        calibrated_on: str | SpectralDistribution | None = None,
        immersion: float | str | None = None,
        standard_uncertainty: float | None = None,
        reads_up_to: float | None = None,
    ) -> None:
        self.name = name
        table = {
            "reads": reads,
            "response": response if response is None else {"shape": response},
            "calibrated_on": calibrated_on,
            "immersion": _number(immersion),
            "standard_uncertainty": _number(standard_uncertainty),
            "reads_up_to": _number(reads_up_to),
        }
        super().__init__(METER, _named("meter", name), table)
