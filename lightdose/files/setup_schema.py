"""The keys of setup.toml: kinds, defaults and what they mean, by table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Final

from lightdose.files.toml_tables import (
    Key,
    Table,
    anything,
    checked,
    file_name,
    flag,
    inner,
    length,
    name,
    names,
    number,
    one_of,
    pair,
    plain_number,
    refuse,
    show,
    suggestion,
    whole,
)
from lightdose.files.units import NAME, between, number_or, words
from lightdose.model.forms import (
    CORAL_FORMS,
    FACE_WORDS,
    OPEN_SKY_RANGES,
    OPEN_SKY_WORDS,
    ROCK_REFLECTANCE,
    ROCK_SHAPES,
    UNCERTAINTY_KEYS,
)
from lightdose.model.setup import SURFACES, Wall

if TYPE_CHECKING:
    from lightdose.model.solids import Face

SETUP_FORMAT: Final = "lightdose-setup/1"
SMALLEST_SIDE_M: Final = 0.0001
"""Of rock, braces and colonies: below it numbers run out of digits. Our choice."""

MOST_SITES: Final = 20_000
MOST_CHANNELS: Final = 200

WALL_WORDS: Final = ("clean", "painted", "dark")
_WALL_ALLOWED: Final = '"clean" | "painted" | "dark", or a reflectance 0 to 1'
_SKY_ALLOWED: Final = "0 to 1, or " + " | ".join(f'"{w}"' for w in OPEN_SKY_WORDS)


def _wall(value: object) -> Wall:
    if isinstance(value, str):
        if value not in WALL_WORDS:
            raise refuse(f"{show(value)} is not known here", _WALL_ALLOWED, suggestion(value, WALL_WORDS))
        return Wall(value)  # type: ignore[arg-type]
    reflectance = plain_number(value, "a kind of wall")
    if not 0 <= reflectance <= 1:
        raise refuse(f"{show(value)} is outside the range", _WALL_ALLOWED)
    return Wall("reflectance", reflectance)


def sky_word(value: object) -> str:
    """The words for shade as the table spells them; "" for anything else."""
    word = _spelt(value) if isinstance(value, str) else ""
    return word if word in OPEN_SKY_RANGES else ""


def _spelt(text: str) -> str:
    return " ".join(text.lower().split())


def read_open_sky(value: object) -> float:
    """A number 0-1 or one of ``OPEN_SKY_WORDS``."""
    if isinstance(value, str):
        word = _spelt(value)
        if word not in OPEN_SKY_WORDS:
            raise refuse(f"{show(value)} is not known here", _SKY_ALLOWED, suggestion(word, OPEN_SKY_WORDS))
        return OPEN_SKY_WORDS[word]
    share = plain_number(value, "an open sky")
    if not 0 <= share <= 1:
        raise refuse(f"{show(value)} is outside the range", _SKY_ALLOWED)
    return share


def _previous(value: object) -> float | str:
    allowed = 'mol/m2/day, 0 to 100, or "unknown"'
    if value == "unknown":
        return "unknown"
    dose = plain_number(value, "a daily dose")
    if not 0 <= dose <= 100:
        raise refuse(f"{show(value)} is outside the range", allowed)
    return dose


_FACE_ALLOWED: Final = " | ".join(f'"{w}"' for w in FACE_WORDS) + ", or { toward_deg = 200, tilt_deg = 60 }"


def _face(value: object) -> Face | None:
    """Which way a place looks; None is up."""
    if value == "up":
        return None
    from lightdose.model.solids import FACES

    if isinstance(value, str):
        word = " ".join(value.lower().split())
        if word in FACES:
            return FACES[word]
        raise refuse(f"{show(value)} is not known here", _FACE_ALLOWED, suggestion(word, FACE_WORDS))
    if not isinstance(value, dict) or set(value) != {"toward_deg", "tilt_deg"}:
        raise refuse(f"{show(value)} is no face", _FACE_ALLOWED)
    return read_face(
        plain_number(value["toward_deg"], "an angle"), plain_number(value["tilt_deg"], "an angle")
    )


def read_face(toward_deg: float, tilt_deg: float) -> Face | None:
    """A face by its angles, None where it looks up; refused where they are out of range."""
    for key, angle, low, high in (("toward_deg", toward_deg, -360, 360), ("tilt_deg", tilt_deg, 0, 180)):
        if not low <= angle <= high:
            raise refuse(f"{key} {angle:g} is outside the range", f"{low} to {high}")
    from lightdose.model.solids import Face

    return Face(toward_deg, tilt_deg) if tilt_deg > 0 else None


def _immersion(value: object) -> float | str:
    allowed = 'a factor 1 to 2, "built in", or "unknown"'
    if value in ("built in", "unknown"):
        return str(value)
    factor = plain_number(value, "an immersion factor")
    if not 1 <= factor <= 2:
        raise refuse(f"{show(value)} is outside the range", allowed)
    return factor


_SKIN_ALLOWED: Final = "0 to 0.99, or the name of a spectrum file"


def _skin(value: object) -> float | str:
    if isinstance(value, str) and value.strip():
        return value
    share = plain_number(value, "a reflectance")
    if not 0 <= share <= 0.99:
        cure = f"write {share / 100:g} for {share:g} %" if 1 < share < 100 else ""
        raise refuse(f"{show(value)} is outside the range", _SKIN_ALLOWED, cure)
    return share


_open_sky = checked(read_open_sky, _SKY_ALLOWED, {"anyOf": [between(0, 1), words(OPEN_SKY_WORDS)]})
_faces = checked(
    _face,
    _FACE_ALLOWED,
    {
        "anyOf": [
            words(FACE_WORDS),
            {
                "type": "object",
                "properties": {
                    "toward_deg": between(-360, 360) | {"description": "in plan, 0 right, 90 back"},
                    "tilt_deg": between(0, 180) | {"description": "0 up, 90 upright, 180 down"},
                },
                "required": ["toward_deg", "tilt_deg"],
                "additionalProperties": False,
            },
        ]
    },
)
_side = length(SMALLEST_SIDE_M, 20, "is not above 0, or below a tenth of a millimetre")
_across = length(0, 20)
_down = length(0, 20, "is above the surface")
_up = length(0, 20, "is below the floor")

SETUP: Final = Table(
    {
        "format": Key(one_of(SETUP_FORMAT), f'"{SETUP_FORMAT}"', "what kind of file this is"),
        "title": Key(name(), '"My tank"', "stands over every result"),
        "corals": Key(file_name("coral"), '"corals.csv"', "file with more corals", None),
        "sites": Key(file_name("site"), '"sites.csv"', "file with more sites", None),
        "rocks": Key(file_name("rock"), '"rocks.csv"', "file with more rock", None),
        "calibration": Key(name(), '"calibration.toml"', "file that calibrate wrote", None),
        "groups": Key(name(), '"my-groups.toml"', "file with your own coral groups", None),
        "tank": Key(anything("a table [tank]"), "...", "the displayed water"),
        "water": Key(anything("a table [water]"), "...", "what the water does to light", None),
        "cover": Key(anything("a table [cover]"), "...", "lid or screen over the tank", None),
        "fixture": Key(anything("tables [[fixture]]"), "...", "the fixtures over the tank"),
        "site": Key(anything("tables [[site]]"), "...", "named places in the tank", None),
        "rack": Key(anything("tables [[rack]]"), "...", "grids of places", None),
        "coral": Key(anything("tables [[coral]]"), "...", "the corals", None),
        "rock": Key(anything("tables [[rock]]"), "...", "rock and all else that is solid", None),
        "brace": Key(anything("tables [[brace]]"), "...", "strips in the air at the rim", None),
        "electricity": Key(anything("a table [electricity]"), "...", "price of electricity", None),
        "meter": Key(anything("tables [meter.NAME]"), "...", "light meters", None),
        "uncertainty": Key(anything("a table [uncertainty]"), "...", "standard uncertainties", None),
    },
    cures={
        **dict.fromkeys(
            ("rockwork", "reef", "pump", "overflow", "solid"), "write [[rock]] for all that is solid"
        ),
        **dict.fromkeys(("light", "lights", "lamp", "lamps"), "write [[fixture]]"),
    },
)

WALLS: Final = Table(
    {
        side: Key(
            checked(_wall, _WALL_ALLOWED, number_or(0, 1, *WALL_WORDS)), '"clean"', f"the {side} wall", Wall()
        )
        for side in ("front", "back", "left", "right")
    }
)

TANK: Final = Table(
    {
        "length": Key(length(0.01, 20), '"75 cm"', "x, left to right, inside"),
        "width": Key(length(0.01, 20), '"45 cm"', "y, front to back, inside"),
        "water_depth": Key(length(0.01, 20), '"40 cm"', "from the surface to the floor"),
        "glass_thickness": Key(length(0, 0.2), '"10 mm"', "thickness of the walls", 0.010),
        "glass_index": Key(number(1.3, 2.0), "1.52", "refractive index of the walls", 1.52),
        "rim": Key(length(0, 2), '"0 cm"', "dry wall above the water", 0.0),
        "walls": Key(inner(WALLS), '{ back = "painted" }', "kind of each wall", None),
        "floor_reflectance": Key(
            number(0, 0.99), "0.3", "sand about 0.3-0.5, bare glass or dark gravel 0.1", 0.3
        ),
    }
)

WATER: Final = Table(
    {
        "yellowing_440_per_m": Key(number(0, 50), "0.1", "absorption of yellow matter at 440 nm, per m", 0.0),
        "yellowing_slope_per_nm": Key(number(0, 0.1), "0.0165", "its fall with wavelength, per nm", 0.0165),
        "refractive_index": Key(number(1.0, 1.5), "1.34", "of the water", 1.34),
        "absorption": Key(name(), '"my-water.csv"', "file that replaces pure water", None),
    }
)

COVER: Final = Table(
    {
        "transmittance": Key(
            anything("a number 0 to 1, or the name of a spectrum file"),
            "0.9",
            "share of the light that passes the cover",
            1.0,
        )
    }
)

HANGING: Final = Table(
    {
        "x": Key(length(-10, 30), '"22 cm"', "centre of the emitting area, from the left wall"),
        "y": Key(length(-10, 30), '"22 cm"', "from the front wall"),
        "height": Key(length(0, 20, "is not above the water", above=True), '"20 cm"', "above the water"),
        "rotation_deg": Key(number(-360, 360), "0", "counter-clockwise seen from above", 0.0),
    }
)

FIXTURE: Final = Table(
    {
        "name": Key(name(), '"left"', "of this fixture"),
        "type": Key(name(), '"fixtures/demo-panel.toml"', "file that describes its kind"),
        "at": Key(
            inner(HANGING), '{ x = "22 cm", y = "22 cm", height = "20 cm" }', "where it hangs above the water"
        ),
        "schedule": Key(
            anything("the name of a CSV file, or a table of points by channel"),
            '"schedules/daily.csv"',
            "its programme",
        ),
        "enabled": Key(flag(), "true", "false leaves it dark", True),
        "output_scale": Key(number(0, 10, above=True), "0.9", "salt film, age", 1.0),
    }
)

SPOT: Final = Table(
    {
        "x": Key(_across, '"40 cm"', "from the left wall"),
        "y": Key(_across, '"20 cm"', "from the front wall"),
        "depth": Key(_down, '"10 cm"', "below the surface; or height above the floor", None),
        "height": Key(_up, '"30 cm"', "above the floor; or depth below the surface", None),
    }
)

SITE: Final = Table(
    {
        "name": Key(name(), '"ridge"', "of this place"),
        "at": Key(inner(SPOT), '{ x = "40 cm", y = "20 cm", depth = "10 cm" }', "where it is"),
        "open_sky": Key(_open_sky, "1.0", "share of the light from above that reaches it", 1.0),
        "on": Key(one_of(*SURFACES), '"rock"', "what the place is, for place", None),
        "faces": Key(_faces, '"front"', "which way it looks", None),
    }
)

PITCH: Final = Table(
    {
        "x": Key(length(0, 5), '"6 cm"', "from column to column"),
        "y": Key(length(0, 5), '"6 cm"', "from row to row"),
    }
)

RACK: Final = Table(
    {
        "name": Key(name(), '"A"', "of the first row; its sites are A1, A2, ..."),
        "corner": Key(inner(SPOT), '{ x = "10 cm", y = "10 cm", depth = "15 cm" }', "of the first site"),
        "pitch": Key(inner(PITCH), '{ x = "6 cm", y = "6 cm" }', "distance between sites"),
        "columns": Key(whole(1, MOST_SITES), "8", "sites in a row"),
        "rows": Key(whole(1, MOST_SITES), "3", "rows, named on: A, B, C"),
        "row_names": Key(names(), '["A", "B", "C"]', "own names of the rows", None),
        "on": Key(one_of(*SURFACES), '"rock"', "what its places are, for place", "rack"),
        "faces": Key(_faces, '"front"', "which way its places look", None),
    }
)

GROWTH: Final = Table(
    {
        "diameter": Key(length(0, 1), '"0.6 cm"', "more diameter a month", 0.0),
        "height": Key(length(0, 1), '"0.3 cm"', "more height a month", 0.0),
    }
)

ROCK_AT: Final = Table(
    {
        "x": Key(length(-20, 40), '"14 cm"', "from the left wall"),
        "y": Key(length(-20, 40), '"28 cm"', "from the front wall"),
        "height": Key(length(-20, 40), '"10 cm"', "above the floor; or depth below the surface", None),
        "depth": Key(length(-20, 40), '"30 cm"', "below the surface; or height above the floor", None),
    }
)

ROCK_SIZE: Final = Table(
    {
        "x": Key(_side, '"10 cm"', "along the tank, before it is turned"),
        "y": Key(_side, '"12 cm"', "front to back, before it is turned"),
        "z": Key(_side, '"20 cm"', "upwards"),
    }
)

BRACE_END: Final = Table(
    {
        "x": Key(length(-1, 21), '"30 cm"', "from the left wall"),
        "y": Key(length(-1, 21), '"0 cm"', "from the front wall"),
    }
)

CORAL: Final = Table(
    {
        "name": Key(name(), '"staghorn frag"', "of this coral"),
        "group": Key(name(), '"sps-shallow"', "its group, genus or trade name", None),
        "genus": Key(name(), '"Acropora"', "the same, where you know the genus; or group", None),
        "site": Key(name(), '"ridge"', "where it sits; or at; neither: no place yet", None),
        "at": Key(
            inner(SPOT), '{ x = "40 cm", y = "20 cm", depth = "10 cm" }', "where it sits; or site", None
        ),
        "height": Key(length(0, 5), '"6 cm"', "it is judged at its top", 0.0),
        "open_sky": Key(_open_sky, "1.0", "multiplies the open sky of its site", 1.0),
        "pinned": Key(flag(), "true", "place leaves it where it is", False),
        "keep_apart": Key(length(0, 5), '"8 cm"', "distance to its neighbours", 0.0),
        "on": Key(one_of(*SURFACES), '"rock"', "what place is to put it on", None),
        "previous": Key(
            checked(_previous, 'mol/m2/day, 0 to 100, or "unknown"', number_or(0, 100, "unknown")),
            "4.6",
            "daily dose it lived in",
            None,
        ),
        "dli_band": Key(pair(0, 100, "mol/m2/day"), "[3, 6]", "its own band of daily dose", None),
        "peak_max": Key(
            number(0, 3000, above=True, unit="umol/m2/s"), "200", "its own upper end of the peak", None
        ),
        "faces": Key(_faces, '"front"', "which way it looks; that of its site where it is not told", None),
        "form": Key(one_of(*CORAL_FORMS), '"dome"', "of its colony; by its group where it is not told", None),
        "diameter": Key(_side, '"9 cm"', "of its colony, which then shades others", None),
        "passes": Key(number(0, 1), "0.4", "share of light through its colony; by its form", None),
        "growth": Key(inner(GROWTH), '{ diameter = "0.6 cm", height = "0.3 cm" }', "a month", None),
    }
)

ROCK: Final = Table(
    {
        "name": Key(name(), '"left arch"', "of this rock"),
        "shape": Key(one_of(*ROCK_SHAPES), '"box"', "cylinders stand upright; a slab is named by its top"),
        "at": Key(inner(ROCK_AT), '{ x = "14 cm", y = "28 cm", height = "10 cm" }', "its centre"),
        "size": Key(inner(ROCK_SIZE), '{ x = "10 cm", y = "12 cm", z = "20 cm" }', "from end to end"),
        "turn_deg": Key(number(-360, 360), "20", "counter-clockwise seen from above", 0.0),
        "reflectance": Key(
            checked(_skin, _SKIN_ALLOWED, {"anyOf": [between(0, 0.99), NAME]}),
            "0.15",
            "bare rock 0.2-0.3, coralline and algae 0.08-0.15, dark plastic 0.05; of a file its mean counts",
            ROCK_REFLECTANCE,
        ),
    }
)

BRACE: Final = Table(
    {
        "name": Key(name(), '"middle brace"', "of this strip"),
        "from": Key(inner(BRACE_END), '{ x = "30 cm", y = "0 cm" }', "middle of one end"),
        "to": Key(inner(BRACE_END), '{ x = "30 cm", y = "45 cm" }', "middle of the other"),
        "width": Key(_side, '"6 cm"', "across"),
        "passes": Key(number(0, 1), "0.85", "share of light: 0 for plastic, 0.85 for glass", 0.0),
    }
)

ELECTRICITY: Final = Table(
    {
        "price_per_kwh": Key(number(0, 1000), "0.30", "price of a kilowatt hour"),
        "currency": Key(name(), '"EUR"', "of that price"),
    }
)

METER: Final = Table(
    {
        "reads": Key(one_of("umol", "lux"), '"umol"', "what it shows"),
        "response": Key(
            anything("{ shape = ... } or { file = ... }"), '{ shape = "soft" }', "of its sensor", None
        ),
        "calibrated_on": Key(
            anything('"A", "D65", a CIE LED such as "LED-B3", { file = ... }, or "unknown"'),
            '"A"',
            "the light it was calibrated on",
            "A",
        ),
        "immersion": Key(
            checked(
                _immersion,
                'a factor 1 to 2, "built in", or "unknown"',
                number_or(1, 2, "built in", "unknown"),
            ),
            '"built in"',
            "effect of dipping it into water; needed for readings under water",
            None,
        ),
        "standard_uncertainty": Key(number(0, 1), "0.025", "one standard uncertainty, as a fraction", 0.025),
        "reads_up_to": Key(
            number(0, 1e6, above=True), "2000", "end of its range, in the unit that it reads", None
        ),
    }
)

UNCERTAINTY: Final = Table(
    {key: Key(number(0, most), "0.1", of_what, None) for key, (most, of_what) in UNCERTAINTY_KEYS.items()}
)

TABLES: Final[Mapping[str, Table]] = {
    "tank": TANK,
    "tank.walls": WALLS,
    "water": WATER,
    "cover": COVER,
    "fixture": FIXTURE,
    "fixture.at": HANGING,
    "site": SITE,
    "site.at": SPOT,
    "rack": RACK,
    "rack.corner": SPOT,
    "rack.pitch": PITCH,
    "coral": CORAL,
    "coral.at": SPOT,
    "coral.growth": GROWTH,
    "rock": ROCK,
    "rock.at": ROCK_AT,
    "rock.size": ROCK_SIZE,
    "brace": BRACE,
    "brace.from": BRACE_END,
    "brace.to": BRACE_END,
    "electricity": ELECTRICITY,
    "meter": METER,
    "uncertainty": UNCERTAINTY,
}
"""Every table of setup.toml by its name, for the documentation and the tests that hold it."""

BETTER_THAN_WORDS: Final = "draw what shades them as [[rock]], or take a reading there"
"""What to do instead of judging shade by eye."""
