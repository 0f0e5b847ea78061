"""Coral groups, corals, and the places in the tank."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

from lightdose.errors import SetupError
from lightdose.model.record import dataclass


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
    grade : A two or more numeric published sources, B one, C direction only or related taxa, D practice only
    sources : short keys ("P2") or citations
    floor_harm : what a published trial saw near the floor; empty where the floor is practice only
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
class Site:
    """A named place in the tank where light is computed. [m], depth below the surface."""

    name: str
    x_m: float
    y_m: float
    depth_m: float
    open_sky: float = 1.0
    rack: str | None = None
    implicit: bool = False

    def __post_init__(self) -> None:
        if not 0 <= self.open_sky <= 1:
            raise SetupError(f"open_sky {self.open_sky:g} of site {self.name!r} is outside 0 to 1")


@dataclass(frozen=True)
class Coral:
    """A coral at a site. It is judged at its top: ``height_m`` above the site, under its own open sky."""

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


@dataclass(frozen=True)
class Receiver:
    """A point for which light is computed: a site, or the top of a coral that stands off its site."""

    name: str
    site: str
    x_m: float
    y_m: float
    depth_m: float
    open_sky: float
    coral: str | None = field(default=None)
