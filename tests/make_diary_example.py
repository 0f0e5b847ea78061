"""Writes `examples/two-years` anew: an invented tank with a diary of two years.

`python tests/make_diary_example.py` plays the two years: it writes the setup as it is on each day, keeps it,
and adds the notes. Nobody ever had this tank; what its corals show was made up for the sake of the example.
"""

from __future__ import annotations

import datetime
import shutil
from pathlib import Path

from lightdose.files.csv_text import csv_text
from lightdose.files.diary_notes import COLUMNS, notes_schema
from lightdose.files.diary_states import keep_state
from lightdose.files.setup_file import read_setup

FOLDER = Path(__file__).resolve().parents[1] / "examples" / "two-years"

FIXTURE = """\
#:schema ../../first-tank/schemas/fixture.schema.json
# Five-channel tile: an invented fixture, for this example only.

format = "lightdose-fixture/1"
name = "five-channel tile (invented)"
aperture = { length = "16 cm", width = "16 cm" }

[[channel]]
name = "violet"
spectrum = { library = "violet-420" }
photon_flux_umol_s = 22
electrical_w = 11
beam = { fwhm_deg = 85 }

[[channel]]
name = "royal blue"
spectrum = { library = "blue-450" }
photon_flux_umol_s = 80
electrical_w = 38
beam = { fwhm_deg = 85 }
dimming = [[0, 0], [10, 8], [50, 47], [100, 100]]

[[channel]]
name = "blue"
spectrum = { library = "blue-470" }
photon_flux_umol_s = 48
electrical_w = 26
beam = { fwhm_deg = 85 }

[[channel]]
name = "cyan"
spectrum = { library = "cyan-495" }
photon_flux_umol_s = 12
electrical_w = 9
beam = { fwhm_deg = 85 }

[[channel]]
name = "white"
spectrum = { library = "white-led-b5" }
photon_flux_umol_s = 40
electrical_w = 22
beam = { fwhm_deg = 95 }
"""

SETUP = """\
#:schema ../first-tank/schemas/setup.schema.json
# Two-year tank: an invented example. No such tank, fixture or coral exists, nor did anybody see what its
# notes tell.

format = "lightdose-setup/1"
title = "Two-year tank (invented)"
corals = "corals.csv"
sites = "sites.csv"

[tank]
length = "90 cm"
width = "50 cm"
water_depth = "45 cm"
glass_thickness = "10 mm"
floor_reflectance = 0.35
walls = {{ front = "clean", back = "painted", left = "clean", right = "clean" }}

[water]
yellowing_440_per_m = {yellowing}

[[fixture]]
name = "left"
type = "fixtures/tile.toml"
at = {{ x = "26 cm", y = "24 cm", height = "{height} cm" }}
schedule = "left.csv"

[[fixture]]
name = "right"
type = "fixtures/tile.toml"
at = {{ x = "64 cm", y = "24 cm", height = "{height} cm" }}
schedule = "right.csv"
"""

SITES = """\
# Invented places of the two-year tank, cm.
site,x_cm,y_cm,depth_cm,open_sky
crest left,24,22,10,1
crest right,66,22,10,1
ridge,45,26,14,1
shelf left,16,34,20,1
shelf right,74,34,20,1
slope left,30,14,27,1
slope right,60,14,27,1
ledge,45,38,25,0.5
sand left,20,12,42,1
sand middle,46,10,42,1
sand right,72,12,42,1
arch,52,34,30,0.8
"""

CORALS = {
    "antler frag": ("sps-shallow", "crest left"),
    "table frag": ("sps-shallow", "crest right"),
    "blue tip": ("sps-shallow", "ridge"),
    "bird's nest": ("sps-plating", "shelf left"),
    "plate": ("sps-plating", "shelf right"),
    "crust": ("sps-plating", "slope left"),
    "torch": ("lps-branching", "slope right"),
    "hammer": ("lps-branching", "sand left"),
    "open brain": ("open-brain", "sand middle"),
    "button polyps": ("zoanthid", "arch"),
    "mushrooms": ("mushroom", "ledge"),
    "leather": ("soft", "sand right"),
}

DAY = """\
# Invented programme of the two-year tank: levels in percent; all_channels multiplies the row.
time,violet,royal blue,blue,cyan,white,all_channels
09:00,0,0,0,0,0,{overall}
11:30,{violet},{royal},{royal},{cyan},{white},{overall}
{end}:00,{violet},{royal},{royal},{cyan},{white},{overall}
21:00,0,0,0,0,0,{overall}
"""

BEGIN = {
    "yellowing": 0.25,
    "height": 22,
    "left": 50,
    "right": 50,
    "violet": 40,
    "royal": 70,
    "cyan": 30,
    "white": 18,
    "end": 18,
}
STATES = (
    ("2024-01-08", "the tank as it runs", {}),
    ("2024-03-04", "left side brighter at once", {"left": 68}),
    ("2024-04-08", "too fast, back again", {"left": 52}),
    ("2024-04-22", "in steps this time", {"left": 57}),
    ("2024-04-29", "step 2", {"left": 62}),
    ("2024-05-06", "step 3", {"left": 68}),
    ("2024-09-16", "torch looks small down there", {"torch": "shelf left", "bird's nest": "slope right"}),
    ("2024-10-21", "torch back where it was", {"torch": "slope right", "bird's nest": "shelf left"}),
    ("2024-12-02", "lamps up, to work below them", {"height": 30}),
    ("2025-01-20", "lamps down again", {"height": 22}),
    ("2025-04-07", "bluer, as the display looked yellow", {"white": 6, "violet": 48}),
    ("2025-06-02", "carbon changed: clear water", {"yellowing": 0.05}),
    ("2025-09-08", "shorter days for the electricity", {"end": 17}),
)
"""Day, why, and what is set otherwise from then on: numbers of BEGIN, or a coral's place."""

ROUNDS = [datetime.date(2024, 1, 15) + datetime.timedelta(28 * i) for i in range(26)]
STEADY = {"antler frag": 4, "table frag": 5, "blue tip": 5, "bird's nest": 4, "plate": 5, "crust": 4} | {
    "torch": 5, "hammer": 4, "open brain": 5, "button polyps": 5, "mushrooms": 4, "leather": 4
}  # fmt: skip
PALE = {
    "antler frag": {2: 2, 3: 2, 4: 3, 5: 4, 18: 3},
    "table frag": {3: 4},
    "blue tip": {3: 3, 4: 4},
    "plate": {2: 4, 3: 4},
    "crust": {3: 2, 4: 3, 7: 3},
    "torch": {9: 3, 10: 2, 11: 3, 12: 4},
    "bird's nest": {2: 3, 3: 2, 4: 3, 7: 2, 8: 3},
    "mushrooms": {3: 2, 4: 3},
    "button polyps": {7: 4},
    "hammer": {7: 2, 8: 2, 9: 3},
}
"""Coral -> number of the round -> its colour; else it is steady, and one darker in the last half year."""

OPEN = {"torch": {9: 1, 10: 0, 11: 1, 12: 2}, "hammer": {7: 1, 8: 1}, "leather": {12: 0}}
EXTRA = (
    ("2024-03-04", "", "care", "", "", "lenses cleaned"),
    ("2024-03-11", "", "temperature", "25.5", "C", ""),
    ("2024-03-18", "antler frag", "free", "", "", "white at the tips"),
    ("2024-05-06", "", "care", "", "", "changed 40 l of water"),
    ("2024-07-22", "", "temperature", "30.4", "C", "heat wave, window open"),
    ("2024-07-29", "", "temperature", "30.1", "C", ""),
    ("2024-08-05", "", "care", "", "", "fan over the water"),
    ("2024-09-30", "torch", "free", "", "", "half closed at noon"),
    ("2024-12-16", "leather", "free", "", "", "closed, sheds its skin"),
    ("2025-03-10", "", "care", "", "", "fed more, nitrate had been near nothing"),
    ("2025-06-02", "", "care", "", "", "new carbon"),
    ("2025-10-13", "", "care", "", "", "changed 40 l of water"),
    ("2025-11-24", "crust", "lost", "", "", "overgrown by the plate and cut away"),
)


def write_tank(now: dict[str, object], places: dict[str, str]) -> None:
    """The setup as it is on a day."""
    (FOLDER / "fixtures").mkdir(parents=True, exist_ok=True)
    corals = ["# Invented corals of the two-year tank.", "coral,group,site"]
    corals += [f"{name},{group},{places[name]}" for name, (group, _) in CORALS.items()]
    files = {
        "setup.toml": SETUP.format(**now),
        "fixtures/tile.toml": FIXTURE,
        "sites.csv": SITES,
        "corals.csv": "\n".join(corals) + "\n",
        "left.csv": DAY.format(overall=now["left"], **now),
        "right.csv": DAY.format(overall=now["right"], **now),
    }
    for name, text in files.items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")


def notes() -> list[tuple[str, ...]]:
    """Every note, by date."""
    found: list[tuple[str, ...]] = list(EXTRA)
    for index, day in enumerate(ROUNDS):
        for coral, steady in STEADY.items():
            if coral == "crust" and day > datetime.date(2025, 11, 24):
                continue
            colour = PALE.get(coral, {}).get(index, min(6, steady + (index >= 20)))
            found.append((day.isoformat(), coral, "colour", str(colour), "", ""))
            if coral in OPEN or index % 3 == 0:
                found.append((day.isoformat(), coral, "open", str(OPEN.get(coral, {}).get(index, 3)), "", ""))
            if index % 6 == 0:
                size = 4 + 0.1 * len(coral) + 0.15 * index
                found.append((day.isoformat(), coral, "size_cm", f"{size:.1f}", "cm", ""))
    return sorted(found, key=lambda row: row[0])


def main() -> None:
    """Play the two years."""
    shutil.rmtree(FOLDER, ignore_errors=True)
    now, places = dict(BEGIN), {name: site for name, (_, site) in CORALS.items()}
    for date, why, changed in STATES:
        for key, value in changed.items():
            (places if key in places else now)[key] = value
        write_tank(now, places)
        keep_state(read_setup(FOLDER), date, why)
    diary = FOLDER / "diary"
    (diary / ".lock").unlink()
    for name, text in (
        ("notes.csv", csv_text(COLUMNS, notes())),
        ("states.csv", (diary / "states.csv").read_text(encoding="utf-8")),
    ):
        whole = f"# Invented, as all of this example.\n{text}"
        (diary / name).write_text(whole, encoding="utf-8", newline="\n")
    (diary / "notes.schema.json").write_text(notes_schema(), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
