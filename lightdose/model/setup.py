"""The whole setup of one tank, as read from its files."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import TYPE_CHECKING, Literal

from lightdose.errors import SetupError
from lightdose.model.coral import Coral, CoralGroup, Receiver, Site
from lightdose.model.fixture import Fixture
from lightdose.model.readings import Meter
from lightdose.model.record import dataclass
from lightdose.model.tank import Cover, Tank, Water

if TYPE_CHECKING:
    from lightdose.model.calibration import Calibration

LengthUnit = Literal["cm", "in"]


@dataclass(frozen=True)
class Electricity:
    """Price of electricity; without it no cost is stated."""

    price_per_kwh: float
    currency: str


@dataclass(frozen=True, eq=False)
class Setup:
    """A tank, its fixtures and programmes, its places and its corals.

    Attributes
    ----------
    groups : every coral group that may be used, the user's own ones included, by key
    group_sources : short key of a source ("P2") -> full citation
    calibration : what meter readings said; beams, open sky and water here hold its values already
    length_unit : unit of the file's lengths, for display
    understood : one sentence a decision of the readers ("daily.csv: 12 rows, separator ';'")
    inputs_sha256 : file as named -> sha256 of its bytes
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
    length_unit: LengthUnit = "cm"
    path: str = ""
    understood: tuple[str, ...] = ()
    inputs_sha256: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for what, names in (
            ("fixture", [f.name for f in self.fixtures]),
            ("site", [s.name for s in self.sites]),
            ("coral", [c.name for c in self.corals]),
        ):
            twice = sorted({n for n in names if names.count(n) > 1}) if len(set(names)) != len(names) else []
            if twice:
                raise SetupError(f"{what} names stand twice: {', '.join(twice)}")
        known = {s.name for s in self.sites}
        for coral in self.corals:
            if coral.site not in known:
                raise SetupError(f"coral {coral.name!r} names the unknown site {coral.site!r}")
            if coral.group not in self.groups:
                raise SetupError(f"coral {coral.name!r} names the unknown group {coral.group!r}")

    @property
    def lit_fixtures(self) -> tuple[Fixture, ...]:
        """The enabled fixtures; light fields, day curves and doses list their channels in this order."""
        return tuple(f for f in self.fixtures if f.enabled)

    @property
    def receivers(self) -> tuple[Receiver, ...]:
        """Every site in order, then the tops of corals that stand off their site."""
        sites = {s.name: s for s in self.sites}
        points = [Receiver(s.name, s.name, s.x_m, s.y_m, s.depth_m, s.open_sky) for s in self.sites]
        for coral in self.corals:
            if coral.height_m > 0 or coral.open_sky != 1.0:
                s = sites[coral.site]
                points.append(
                    Receiver(
                        f"{coral.name} (top)",
                        s.name,
                        s.x_m,
                        s.y_m,
                        s.depth_m - coral.height_m,
                        s.open_sky * coral.open_sky,
                        coral.name,
                    )
                )
        return tuple(points)
