"""How the light of a place looks, beside the photons that it brings."""

from __future__ import annotations

from lightdose.model.record import dataclass


@dataclass(frozen=True)
class Swatch:
    """A colour as a screen can show it at best, at the screen's full brightness; approximate.

    Attributes
    ----------
    srgb : "#rrggbb"
    clipped : whether the light is more saturated than sRGB holds, so that the screen shows a paler colour
    """

    srgb: str
    clipped: bool


@dataclass(frozen=True)
class Appearance:
    """The look of a mix of light, at the time of a place's peak.

    Attributes
    ----------
    chromaticity_xy : CIE 1931
    cct_k : correlated colour temperature; None beyond a distance of 0.05 from the Planckian locus. [K]
    duv : distance from that locus, CIE 1960, positive above it; None where there is no near point
    """

    chromaticity_xy: tuple[float, float]
    cct_k: float | None
    duv: float | None
    swatch: Swatch


@dataclass(frozen=True)
class WhiteLight:
    """A white light that stands beside the place's own, with the same PPFD.

    Attributes
    ----------
    name : "CIE LED-B5"
    lux_per_umol : illuminance of 1 umol m-2 s-1 of it. [lx]
    lux : illuminance of the place's PPFD of it. [lx]
    """

    name: str
    source: str
    lux_per_umol: float
    lux: float
    appearance: Appearance


@dataclass(frozen=True)
class LooksAndGets:
    """What a place gets, in photons, and what the eye makes of it, in lux; both at the time of its peak.

    Attributes
    ----------
    place : name of the receiver, a site or the top of a coral
    receiver : its row in the light field
    ppfd_umol_m2_s : peak PPFD. [umol m-2 s-1]
    lux : illuminance at that time. [lx]
    appearance : of the light there
    white : the same photons from white LEDs
    """

    place: str
    receiver: int
    ppfd_umol_m2_s: float
    lux: float
    appearance: Appearance
    white: WhiteLight

    @property
    def lux_share(self) -> float:
        """Lux of this light over lux of the white one, at equal photons; below 1 it looks dimmer."""
        return self.lux / self.white.lux
