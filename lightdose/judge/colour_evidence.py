"""What trials found on colour at equal photons: both sides, each with its source."""

from __future__ import annotations

from typing import Final

from lightdose.model.explaining import Evidence

_KINZIE: Final = "Kinzie, Jokiel & York 1984, Mar Biol, 10.1007/BF00393009"
_DIPERNA: Final = "DiPerna et al. 2018, PLoS ONE 13:e0203882"
_ACROPORA: Final = "Coral Reefs 2023, 10.1007/s00338-023-02348-w (abstract, three Acropora)"
_POCILLOPORA: Final = "Pocillopora acuta, 105/157/250 umol x 12 h, 140 d, PMC7673984"
_WIJGERDE: Final = "Wijgerde et al. 2014, PLoS ONE 9:e92781"
_SCHLACHER: Final = "Schlacher, Stark & Fischer 2007, Aquaculture 269:278"
_ROTH: Final = "Roth et al. 1982, Pac Sci 36:65"
_WANGPRASEURT: Final = "Wangpraseurt et al. 2014, PLoS ONE 9:e112809"

EVIDENCE: Final = (
    Evidence("for", "blue was about equal to white for skeletal growth, green and red were less", _KINZIE),
    Evidence(
        "for",
        "the growth of Stylophora pistillata did not differ by colour at equal photons",
        f"a second study, of 2018, by the first author of {_WIJGERDE}: from memory, not checked",
    ),
    Evidence("for", "2 to 5 times the photons changed growth", f"{_DIPERNA}; {_ACROPORA}; {_POCILLOPORA}"),
    Evidence(
        "for",
        "oxygen production at equal PPFD did not change between blue- and red-weighted light",
        _WANGPRASEURT,
    ),
    Evidence(
        "against",
        "red harmed Stylophora pistillata at 256 umol/m2/s, and a half-and-half mix behaved like red",
        _WIJGERDE,
    ),
    Evidence("against", "longer wavelengths raised the growth of Acropora", _ACROPORA),
    Evidence("against", "corals did better under bluer lamps", _SCHLACHER),
    Evidence("against", "ultraviolet at 380 nm lowers calcification", _ROTH),
    Evidence(
        "against",
        "colouring and the form of the skeleton do depend on the spectrum",
        "common practice, no published source at hand",
    ),
)
"""For and against "photons matter more than their colour"; most of the sources were read as abstracts."""
