"""The whole setup of one tank: its water and walls, its places and corals, and what hangs over it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any, Final, Literal, get_args

from lightdose.errors import SetupError
from lightdose.frozen import dataclass, fill
from lightdose.model.fixture import Fixture
from lightdose.model.setup_rules import broken_rules
from lightdose.model.spectrum import Meter, SpectralTable

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.model.calibration import Calibration
    from lightdose.model.forms import CoralForm
    from lightdose.model.measured_setup import Measured
    from lightdose.model.solids import Brace, Face, Growth, Solid

WallKind = Literal["clean", "painted", "dark", "reflectance"]
WALL_NAMES = ("front", "back", "left", "right")
Surface = Literal["rock", "sand", "wall", "rack"]
SURFACES: Final = get_args(Surface)
"""What a place is, and what a coral wants to stand on."""


@dataclass(frozen=True)
class Wall:
    """One side of the tank.

    clean: clear pane with air behind it, also film with an air gap · painted: black bonded outside ·
    dark: absorbing inside · reflectance: the stated mirror reflectance, no glass in front.
    """

    kind: WallKind = "clean"
    reflectance: float | None = None

    def __post_init__(self) -> None:
        if (self.kind == "reflectance") != (self.reflectance is not None):
            raise SetupError("a reflectance goes with a wall of that kind, and only with it")
        if self.reflectance is not None and not 0 <= self.reflectance <= 1:
            raise SetupError(f"wall reflectance {self.reflectance:g} is outside 0 to 1")


@dataclass(frozen=True)
class Tank:
    """Inner measures of the water; origin front left inside, x right, y back, depth down. [m]"""

    length_m: float
    width_m: float
    water_depth_m: float
    glass_thickness_m: float = 0.010
    glass_index: float = 1.52
    rim_m: float = 0.0
    walls: Mapping[str, Wall] = field(default_factory=lambda: {name: Wall() for name in WALL_NAMES})
    floor_reflectance: float = 0.3

    def __post_init__(self) -> None:
        for name in ("length_m", "width_m", "water_depth_m"):
            if not 0.01 <= getattr(self, name) <= 20:
                raise SetupError(
                    f"tank {name[:-2].replace('_', ' ')} {getattr(self, name):g} m is outside 0.01 to 20 m"
                )
        if not 0 <= self.glass_thickness_m <= 0.2:
            raise SetupError(f"glass thickness {self.glass_thickness_m:g} m is outside 0 to 0.2 m")
        if not 1.3 <= self.glass_index <= 2.0:
            raise SetupError(f"glass index {self.glass_index:g} is outside 1.3 to 2.0")
        if not 0 <= self.rim_m <= 2:
            raise SetupError(f"rim {self.rim_m:g} m is outside 0 to 2 m")
        if not 0 <= self.floor_reflectance < 1:
            raise SetupError(f"floor reflectance {self.floor_reflectance:g} is outside 0 to below 1")
        if not all(isinstance(wall, Wall) for wall in self.walls.values()):
            raise TypeError('a wall is a Wall("painted"), not a word; lightdose.Tank takes words')
        if set(self.walls) != set(WALL_NAMES):
            raise SetupError("a tank has the walls front, back, left and right")

    def __hash__(self) -> int:
        return hash((self.length_m, self.width_m, self.water_depth_m))


@dataclass(frozen=True)
class Standing:
    """What stands in the water, and over the rim."""

    solids: tuple[Solid, ...] = ()
    braces: tuple[Brace, ...] = ()


@dataclass(frozen=True, eq=False)
class Water:
    """What the water does to light on its way. ``absorption`` replaces pure water. [m-1, base e]"""

    yellowing_440_per_m: float = 0.0
    yellowing_slope_per_nm: float = 0.0165
    refractive_index: float = 1.34
    absorption: SpectralTable | None = None

    def __post_init__(self) -> None:
        if not 1.0 <= self.refractive_index <= 1.5:
            raise SetupError(f"refractive_index {self.refractive_index:g} is outside 1.0 to 1.5")
        if not 0 <= self.yellowing_440_per_m <= 50:
            raise SetupError(f"yellowing_440_per_m {self.yellowing_440_per_m:g} is outside 0 to 50 per m")
        if not 0 <= self.yellowing_slope_per_nm <= 0.1:
            raise SetupError(
                f"yellowing_slope_per_nm {self.yellowing_slope_per_nm:g} is outside 0 to 0.1 per nm"
            )


@dataclass(frozen=True, eq=False)
class Cover:
    """A lid or screen; multiplies all light of all fixtures, whatever its angle."""

    transmittance: float | SpectralTable = 1.0

    def __post_init__(self) -> None:
        if isinstance(self.transmittance, float | int) and not 0 <= self.transmittance <= 1:
            raise SetupError(f"cover transmittance {self.transmittance:g} is outside 0 to 1")


@dataclass(frozen=True)
class CoralGroup:
    """Usual light of a group of corals: common practice of the trade unless a source says more.

    ``band_dli`` and ``band_peak`` are None for groups without symbionts, which light does not judge.

    Attributes
    ----------
    band_dli, floor_dli, ceiling_dli : [mol m-2 d-1]
    band_peak : usual midday PPFD. [umol m-2 s-1]
    ek_range : light at which photosynthesis begins to saturate. [umol m-2 s-1]
    ek_model : curve that ``ek_range`` belongs to: "tanh", "webb" or "smith"
    grade : A two or more numeric published sources, B one, C direction only or related taxa, D practice only,
        own the keeper's own records
    sources : short keys ("P2") or citations
    floor_harm : what a published trial saw near the floor; empty where the floor is practice only
    look : by which somebody knows it who has no name for it
    names : older and trade names that mean it, where groups are listed
    """

    key: str
    name: str
    genera: tuple[str, ...]
    band_dli: tuple[float, float] | None
    band_peak: tuple[float, float] | None
    floor_dli: float | None
    ceiling_dli: float | None
    ek_range: tuple[float, float] | None
    ek_source: str
    grade: str
    sources: tuple[str, ...]
    note: str = ""
    ek_model: Literal["tanh", "webb", "smith"] = "tanh"
    floor_harm: str = ""
    look: str = ""
    names: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        if self.band_dli is None:
            return
        low, high = self.band_dli
        floor = 0.0 if self.floor_dli is None else self.floor_dli
        ceiling = high if self.ceiling_dli is None else self.ceiling_dli
        if not 0 <= floor <= low < high <= ceiling:
            raise SetupError(
                f"group {self.key!r} needs floor <= band low < band high <= ceiling, "
                f"got {floor:g}, {low:g}, {high:g}, {ceiling:g}"
            )

    @property
    def ek_assumed(self) -> bool:
        """Whether an end of ``ek_range`` is assumed, or stands without a source."""
        return not self.ek_source or "assumed" in self.ek_source or "no source" in self.ek_source


@dataclass(frozen=True)
class CoralName:
    """What a word for a coral means; several ``groups`` where it fits several.

    Attributes
    ----------
    known : the word as the table of names spells it
    genus : accepted name, where the word means one genus
    source : of the name, where the shipped table has it
    """

    known: str
    how: Literal["group", "genus", "synonym", "plain name"]
    groups: tuple[CoralGroup, ...]
    genus: str | None = None
    source: str = ""

    @property
    def group(self) -> CoralGroup:
        """Its group, where there is one only."""
        return self.groups[0]

    def genus_in(self, word: str) -> str | None:
        """The genus, as ``word`` writes it where it begins with it: a species stays named."""
        first = word.split()[0].casefold()
        return word if self.genus and first == self.genus.casefold() else self.genus

    @property
    def said(self) -> str:
        """How it was understood, as keepers must know; nothing for a group or an accepted genus."""
        if self.how in ("group", "genus"):
            return ""
        genus = f"{self.genus}, " if self.genus else ""
        return f"{self.known}: read as {genus}{' or '.join(g.name for g in self.groups)}"


@dataclass(frozen=True)
class Site:
    """A named place in the tank where light is computed. [m], depth below the surface.

    ``on`` is what the place is, None where it is not told. ``own_sky`` says that its open sky was stated: it
    stands for all that shades the place; ``sky_word`` is the word of ``OPEN_SKY_RANGES`` that stated it, ""
    for a number. ``face`` is which way it looks; None is up.
    """

    name: str
    x_m: float
    y_m: float
    depth_m: float
    open_sky: float = 1.0
    rack: str | None = None
    implicit: bool = False
    on: Surface | None = None
    own_sky: bool = False
    face: Face | None = None
    sky_word: str = ""

    def __post_init__(self) -> None:
        if not 0 <= self.open_sky <= 1:
            raise SetupError(f"open_sky {self.open_sky:g} of site {self.name!r} is outside 0 to 1")


@dataclass(frozen=True)
class Coral:
    """A coral at a site. It is judged at its top: ``height_m`` above the site, under its own open sky.

    ``site`` is "" for one of ``Setup.unplaced``; ``on`` is what it is to stand on, None for anything.
    """

    name: str
    group: str
    site: str
    genus: str | None = None
    height_m: float = 0.0
    open_sky: float = 1.0
    pinned: bool = False
    keep_apart_m: float = 0.0
    previous: float | Literal["unknown"] | None = None
    band_dli: tuple[float, float] | None = None
    peak_max: float | None = None
    on: Surface | None = None
    own_sky: bool = False
    form: CoralForm | None = None
    diameter_m: float = 0.0
    passes: float | None = None
    growth: Growth | None = None
    face: Face | None = None
    sky_word: str = ""


@dataclass(frozen=True)
class Receiver:
    """A point for which light is computed: a site, or the top of a coral that stands off its site.

    A coral that faces another way than up has two: one that looks up, and one on its ``face``, by which it is
    judged. ``own_sky`` says that its open sky was stated and stands for all that shades it, ``sky_words`` by
    which words of ``OPEN_SKY_RANGES``.
    """

    name: str
    site: str
    x_m: float
    y_m: float
    depth_m: float
    open_sky: float
    coral: str | None = field(default=None)
    own_sky: bool = False
    face: Face | None = None
    sky_words: tuple[str, ...] = ()


def sky_words(*places: Site | Coral) -> tuple[str, ...]:
    """The words that stated the open sky of a site, and of a coral at it."""
    return tuple(place.sky_word for place in places if place.sky_word)


def own_receiver(site: Site) -> Receiver:
    """The point of a site itself."""
    return Receiver(
        site.name,
        site.name,
        site.x_m,
        site.y_m,
        site.depth_m,
        site.open_sky,
        own_sky=site.own_sky,
        sky_words=sky_words(site),
    )


LengthUnit = Literal["cm", "in"]


@dataclass(frozen=True)
class Electricity:
    """Price of electricity; without it no cost is stated."""

    price_per_kwh: float
    currency: str


@dataclass(frozen=True, eq=False)
class Setup:
    """A tank, its fixtures and programmes, its places and its corals.

    Made in code of parts (``lightdose.Tank``, ``Fixture``, ``Coral``, ...) and of records of other setups, it
    is checked as its files would be; without ``groups`` those that are shipped hold.

    Attributes
    ----------
    groups : every coral group that may be used, the user's own ones included, by key
    group_sources : short key of a source ("P2") -> full citation
    calibration : what meter readings said; beams, heights, open sky and water here hold its values, and what
        is edited afterwards leaves it (``model.measured_setup``)
    measured : what the records hold of the calibration, for ``replace``
    length_unit : unit of the file's lengths, for display
    understood : one sentence a decision of the readers ("daily.csv: 12 rows, separator ';'")
    inputs_sha256 : file as named -> sha256 of its bytes
    unplaced : corals without a place yet; nothing that judges light meets them
    rocks : all that is solid in the water besides corals
    braces : strips in the air at the rim
    """

    title: str
    tank: Tank
    fixtures: tuple[Fixture, ...]
    sites: tuple[Site, ...]
    corals: tuple[Coral, ...]
    groups: Mapping[str, CoralGroup]
    group_sources: Mapping[str, str]
    water: Water = field(default_factory=Water)
    cover: Cover = field(default_factory=Cover)
    electricity: Electricity | None = None
    meters: Mapping[str, Meter] = field(default_factory=dict)
    uncertainty: Mapping[str, float] = field(default_factory=dict)
    calibration: Calibration | None = None
    measured: Measured | None = None
    length_unit: LengthUnit = "cm"
    path: str = ""
    understood: tuple[str, ...] = ()
    inputs_sha256: Mapping[str, str] = field(default_factory=dict)
    unplaced: tuple[Coral, ...] = ()
    rocks: tuple[Solid, ...] = ()
    braces: tuple[Brace, ...] = ()

    if TYPE_CHECKING:

        def __init__(
            self,
            title: str,
            tank: Any,
            fixtures: Iterable[Any],
            sites: Iterable[Any] = (),
            corals: Iterable[Any] = (),
            groups: Mapping[str, CoralGroup] | None = None,
            group_sources: Mapping[str, str] | None = None,
            *,
            rocks: Iterable[Any] = (),
            racks: Iterable[Any] = (),
            meters: Iterable[Any] | Mapping[str, Any] = (),
            water: Water | Mapping[str, float | str] | None = None,
            cover: Cover | Mapping[str, float | str] | None = None,
            uncertainty: Mapping[str, float] | None = None,
            calibration: Calibration | None = None,
            **more: Any,
        ) -> None: ...

    else:

        def __init__(self, *given: object, **named: object) -> None:
            if "groups" not in named and len(given) < 6:  # made in code, not of a setup's own records
                from lightdose.python.building import built

                made = built(*given, **named)
                named, given = {name: getattr(made, name) for name in self.__dataclass_fields__}, ()
            fill(self, *given, **named)

    def __post_init__(self) -> None:
        wanted = {"tank": Tank, "fixtures": Fixture, "sites": Site, "corals": Coral, "unplaced": Coral}
        for name, kind in wanted.items():
            for one in (self.tank,) if name == "tank" else getattr(self, name):
                if not isinstance(one, kind):
                    told = f"{name}: {one!r} is no record; parts go into setup.changed({name}=...)"
                    raise TypeError(f"{told}, or into a Setup without groups")
        if self.calibration is not None or self.measured is not None:
            self._settle()
        for what, names in (
            ("fixture", [f.name for f in self.fixtures]),
            ("site", [s.name for s in self.sites]),
            ("coral", [c.name for c in (*self.corals, *self.unplaced)]),
        ):
            twice = sorted({n for n in names if names.count(n) > 1}) if len(set(names)) != len(names) else []
            if twice:
                raise SetupError(f"{what} names stand twice: {', '.join(twice)}")
        if self.tank.glass_index < self.water.refractive_index:
            raise SetupError(
                f"glass index {self.tank.glass_index:g} is below the water's {self.water.refractive_index:g}"
            )
        known = {s.name for s in self.sites}
        for coral in self.corals:
            if coral.site not in known:
                raise SetupError(f"coral {coral.name!r} names the unknown site {coral.site!r}")
        for coral in (*self.corals, *self.unplaced):
            if coral.group not in self.groups:
                raise SetupError(f"coral {coral.name!r} names the unknown group {coral.group!r}")
        if problems := broken_rules(self, may_be_dry=True):
            raise SetupError(*problems)

    def _settle(self) -> None:
        """Records and calibration agree: what was edited is no longer as measured."""
        from lightdose.model.measured_setup import Parts, as_measured

        parts = Parts(self.fixtures, self.sites, self.water)
        parts, measured = as_measured(parts, self.calibration, self.measured)
        settled = parts._asdict() | {"measured": measured, "calibration": measured and measured.calibration}
        for name, value in settled.items():
            object.__setattr__(self, name, value)

    def changed(self, **what: Any) -> Setup:
        """The setup with something changed, for variations in code.

        Parameters
        ----------
        what : any field of this record; or ``height`` of all fixtures, in metres or as text with a unit
            ("16 cm"); ``beam_deg`` of all channels; ``all_channels``, the overall setting in percent;
            ``without``, the name of a coral or a fixture

        Raises
        ------
        TypeError
            If there is no such field.
        SetupError
            If a name is unknown, a length looks like centimetres, or what results is no setup.
        """
        from lightdose.python.changes import changed

        return changed(self, what)

    def save(self, folder: str | Path) -> Path:
        """Write its files into a folder that holds none of them; the path of setup.toml.

        ``read_setup`` reads the same doses and intervals back.

        Raises
        ------
        OutputError
            If the folder holds such a file already, or cannot be written to.
        """
        from lightdose.python.building import saved

        return saved(self, folder)

    @property
    def lit_fixtures(self) -> tuple[Fixture, ...]:
        """The enabled fixtures; light fields, day curves and doses list their channels in this order."""
        return tuple(f for f in self.fixtures if f.enabled)

    @cached_property
    def receivers(self) -> tuple[Receiver, ...]:
        """Every site in order, then the tops of corals that stand off their site, and faces of corals."""
        sites = {s.name: s for s in self.sites}
        points = [own_receiver(s) for s in self.sites]
        for coral in self.corals:
            s = sites[coral.site]
            face = coral.face or s.face
            own_sky = s.own_sky or coral.own_sky
            if coral.height_m == 0 and coral.open_sky == 1.0 and face is None and own_sky == s.own_sky:
                continue
            top = Receiver(
                f"{coral.name} (top)",
                s.name,
                s.x_m,
                s.y_m,
                s.depth_m - coral.height_m,
                s.open_sky * coral.open_sky,
                coral.name,
                own_sky,
                sky_words=sky_words(s, coral),
            )
            points.append(top)
            if face is not None:
                points.append(replace(top, name=f"{coral.name} (face)", face=face))
        return tuple(points)

    @property
    def standing(self) -> Standing | None:
        """What stands in the water and over the rim; None where nothing does."""
        if not self.rocks and not self.braces and all(c.diameter_m == 0 for c in self.corals):
            return None
        from lightdose.model.solids import colony

        sites = {s.name: s for s in self.sites}
        bodies = []
        for c in self.corals:
            if c.diameter_m > 0:
                s = sites[c.site]
                at = (s.x_m, s.y_m, s.depth_m)
                bodies.append(colony(c.name, c.form, c.group, at, c.diameter_m, c.height_m, c.passes))
        return Standing((*self.rocks, *(body for body in bodies if body is not None)), self.braces)


def with_calibration(setup: Setup, calibration: Calibration) -> Setup:
    """The setup as measured: beams, open sky, heights and yellowing replaced; gains act on the emission."""
    return replace(setup, calibration=calibration)
