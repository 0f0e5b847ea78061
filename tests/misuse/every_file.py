"""An invented tank that uses every kind of file, so that each can be broken in its place."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

SETUP_TOML = """\
format = "lightdose-setup/1"
title = "tank of every file (invented)"
corals = "corals.csv"
sites = "sites.csv"
rocks = "rocks.csv"
groups = "my-groups.toml"
calibration = "calibration.toml"
[tank]
length = "60 cm"
width = "40 cm"
water_depth = "35 cm"
rim = "0 cm"
glass_thickness = "10 mm"
floor_reflectance = 0.0
walls = { front = "dark", back = "dark", left = "dark", right = 0.0 }
[water]
yellowing_440_per_m = 0.1
absorption = "water.csv"
[cover]
transmittance = "cover.csv"
[[fixture]]
name = "left"
type = "lamp.toml"
at = { x = "20 cm", y = "20 cm", height = "20 cm", rotation_deg = 0 }
schedule = "left.csv"
output_scale = 0.9
[[fixture]]
name = "right"
type = "lamp2.toml"
at = { x = "40 cm", y = "20 cm", height = "0,2 m" }
schedule = { "red" = [["08:00", 0], ["09:00", 60], ["17:00", 60], ["18:00", 0]] }
[[site]]
name = "ridge"
at = { x = "25 cm", y = "20 cm", depth = "10 cm" }
open_sky = "half under"
[[rack]]
name = "A"
corner = { x = "10 cm", y = "10 cm", depth = "15 cm" }
pitch = { x = "6 cm", y = "6 cm" }
columns = 2
rows = 1
[[coral]]
name = "tip"
genus = "Acropora"
site = "ridge"
height = "2 cm"
previous = 4.6
form = "branching"
diameter = "5 cm"
passes = 0.4
growth = { diameter = "0.6 cm", height = "0.3 cm" }
faces = { toward_deg = 200, tilt_deg = 60 }
[[rock]]
name = "foot"
shape = "box"
at = { x = "50 cm", y = "34 cm", height = "5 cm" }
size = { x = "10 cm", y = "8 cm", z = "10 cm" }
turn_deg = 20
reflectance = 0.2
[[brace]]
name = "middle"
from = { x = "30 cm", y = "0 cm" }
to = { x = "30 cm", y = "40 cm" }
width = "4 cm"
passes = 0.85
[electricity]
price_per_kwh = 0.30
currency = "EUR"
[meter.handheld]
reads = "umol"
response = { file = "response.csv" }
calibrated_on = "A"
immersion = 1.2
standard_uncertainty = 0.025
reads_up_to = 2000
[meter.phone]
reads = "lux"
response = { shape = "v-lambda" }
calibrated_on = "unknown"
immersion = "unknown"
reads_up_to = 40000
[uncertainty]
model_fraction = 0.03
"""

LAMP_TOML = """\
format = "lightdose-fixture/1"
name = "test lamp (invented)"
aperture = { length = "10 cm", width = "6 cm" }
emitters = { count = 24, diameter = "8 mm" }
[[channel]]
name = "blue"
spectrum = { peak_nm = 450, fwhm_nm = 18 }
photon_flux_umol_s = 40
electrical_w = 30
beam = { file = "beam.ies" }
dimming = [[0, 0], [10, 7], [50, 46], [100, 100]]
[[channel]]
name = "cyan"
spectrum = { file = "cyan.csv" }
ppf_umol_s = 10
beam = { file = "beam.ldt" }
[[channel]]
name = "white"
spectrum = { mix = [ { library = "blue-445", share = 0.7 }, { peak_nm = 600, fwhm_nm = 100, share = 0.3 } ] }
radiant_flux_w = 5
beam = { table = [[0, 1], [60, 0.5], [90, 0]] }
"""

LAMP2_TOML = """\
format = "lightdose-fixture/1"
name = "red lamp (invented)"
[[channel]]
name = "red"
spectrum = { peak_nm = 660, fwhm_nm = 18 }
electrical_w = 10
radiant_efficiency = "typical"
beam = { fwhm_deg = 90 }
"""

LEFT_CSV = """\
time,blue,cyan,white,all_channels
08:00,0,0,0,100
10:00,60,40,10,90
17:00,60,,10,90
20:00,0,0,0,100
"""

CORALS_CSV = """\
coral,group,site,x_cm,y_cm,depth_cm,height_cm,pinned,on,keep_apart_cm,form,diameter_cm,passes,growth_height_cm,toward_deg,tilt_deg
hammer,lps-branching,A1,,,,2,yes,rack,8,dome,6,0,0.4,270,90
own one,own,,30,20,30,0,no,,,,,,,,
new one,own,,,,,,,sand,,mat,4,,,,
"""

ROCKS_CSV = """\
rock,shape,x_cm,y_cm,z_cm,size_x_cm,size_y_cm,size_z_cm,turn_deg,reflectance
shelf,slab,50,33,14,16,10,3,20,0.15
knob,ellipsoid,8,34,3,8,6,6,,
pipe,cylinder,56,5,10,4,4,20,,0.05
"""

SITES_CSV = """\
site,x_cm,y_cm,depth_cm,open_sky,on
sand,30,20,33,1,sand
ledge,10,30,25,0.5,
"""

READINGS_CSV = """\
site,x_cm,y_cm,depth_cm,time,blue,cyan,white,red,all_channels,reading,unit,meter,pair,date,note
ridge,,,,,100,0,0,0,,120,umol_m2_s,handheld,,2026-03-14,
ridge,,,,,0,100,0,0,,30,umol_m2_s,handheld,,2026-03-14,x
sand,,,,,0,0,100,0,,10,umol_m2_s,handheld,,,
sand,,,,,0,0,0,100,,10,umol_m2_s,handheld,,,
ridge,,,,12:00,,,,,,60,umol_m2_s,handheld,noon,2026-03-14,
ridge,,,,12:00,,,,,,1500,lux,phone,noon,2026-03-14,"the other, too"
,20,20.5,75mm,,,,,,50,100,umol_m2_s,handheld,,2026-03-14,
"""

MY_GROUPS_TOML = """\
format = "lightdose-coral-groups/1"
[group.own]
name = "own group"
like = "sps-shallow"
genera = ["Ownia"]
dli_floor = 2
dli_band = [5, 12]
source = "own notes"
grade = "C"
"""

CALIBRATION_TOML = """\
format = "lightdose-calibration/1"
date = "2026-03-14"
readings = 4
meters = ["handheld"]
[[gain]]
fixture = "left"
channel = "blue"
gain = 0.75
interval_95 = [0.66, 0.89]
nominal_umol_s = 40.0
stated = true
"""

BEAM_IES = """\
IES:LM-63-2019
[TEST] invented
[MANUFAC] nobody
TILT=NONE
1 1000 1 4 1 1 2 0.4 0.06 0
1 1 80
0 30 60 90
0
100 80 30 0
"""

_LDT_HEAD = "nobody 1 1 1 0 4 30 r demo 1 f d 400 60 20 380 50 0 0 0 0 100 100 1 0 1 1 LED 1000 20000 80 80"
_LDT_LIGHT = " 0.5" * 10 + " 0 0 30 60 90 100 80 30 0"
BEAM_LDT = (_LDT_HEAD + _LDT_LIGHT).replace(" ", "\n") + "\n"

_ROWS = "".join(
    f'<SpectralData wavelength="{nm}">{max(0, 1 - abs(nm - 450) / 40):g}</SpectralData>\n'
    for nm in range(400, 521, 5)
)
LAMP_SPDX = f"""<?xml version="1.0"?>
<IESTM2714 xmlns="iestm2714" version="1.0">
<Header><Description>invented lamp</Description></Header>
<SpectralDistribution>
<SpectralQuantity>relative</SpectralQuantity>
{_ROWS}</SpectralDistribution>
</IESTM2714>
"""


def _table(header: str, values: Mapping[int, float]) -> str:
    return f"# invented\nwavelength_nm,{header}\n" + "".join(
        f"{nm},{value:g}\n" for nm, value in values.items()
    )


FILES: Mapping[str, str] = {
    "setup.toml": SETUP_TOML,
    "lamp.toml": LAMP_TOML,
    "lamp2.toml": LAMP2_TOML,
    "left.csv": LEFT_CSV,
    "corals.csv": CORALS_CSV,
    "sites.csv": SITES_CSV,
    "rocks.csv": ROCKS_CSV,
    "readings.csv": READINGS_CSV,
    "my-groups.toml": MY_GROUPS_TOML,
    "calibration.toml": CALIBRATION_TOML,
    "beam.ies": BEAM_IES,
    "beam.ldt": BEAM_LDT,
    "cyan.csv": _table("relative_power", {nm: max(0, 1 - abs(nm - 500) / 40) for nm in range(420, 581, 5)}),
    "water.csv": _table("absorption_per_m", {nm: 0.01 + (nm - 380) / 1000 for nm in range(380, 751, 10)}),
    "cover.csv": _table("transmittance", dict.fromkeys(range(380, 781, 50), 0.9)),
    "response.csv": _table("response", {nm: nm / 550 for nm in range(400, 701, 20)}),
    "lamp.spdx": LAMP_SPDX,
}
"""Name -> text. setup.toml names all but readings.csv, which calibrate takes, and lamp.spdx, which is slow to
load: `spectrum` takes it."""


def write_tank(folder: Path, changed: Mapping[str, str | bytes] | None = None) -> Path:
    """Write every file into a new folder, some of them changed, and return it."""
    folder.mkdir(parents=True)
    for name, data in {**FILES, **(changed or {})}.items():
        (folder / name).write_bytes(data if isinstance(data, bytes) else data.encode())
    return folder


def changed_once(name: str, old: str, new: str) -> dict[str, str]:
    """The one file with ``old`` written otherwise; a misspelt ``old`` is a fault of the test."""
    assert FILES[name].count(old) >= 1, (name, old)
    return {name: FILES[name].replace(old, new, 1)}
