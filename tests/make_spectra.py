"""Write every table of ``spectra/`` and its ``SOURCES.toml``: run ``python tests/make_spectra.py``.

``tests/test_sources.py`` holds the committed files equal to what this script writes.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

SPECTRA = Path(__file__).resolve().parent.parent / "spectra"

# Peak and full width at half maximum of single-colour LEDs. [nm] Peaks are common trade wavelengths; widths
# are from memory (violet 12-16, royal blue 18-22, blue 22-27, cyan 25-32, green 30-38, amber 14-18, red
# 15-20, deep red 17-24 nm), no published source.
SINGLE_LEDS: dict[str, tuple[float, float]] = {
    "uv-365": (365, 10),
    "uv-385": (385, 12),
    "violet-395": (395, 13),
    "violet-405": (405, 14),
    "violet-420": (420, 15),
    "violet-430": (430, 16),
    "blue-445": (445, 20),
    "blue-450": (450, 20),
    "blue-455": (455, 20),
    "blue-465": (465, 23),
    "blue-470": (470, 24),
    "blue-480": (480, 25),
    "cyan-495": (495, 28),
    "cyan-505": (505, 30),
    "green-520": (520, 33),
    "green-525": (525, 33),
    "amber-590": (590, 16),
    "red-620": (620, 17),
    "red-630": (630, 17),
    "deep-red-660": (660, 18),
    "far-red-730": (730, 25),
}
WHITE_LEDS: dict[str, tuple[str, str]] = {
    "white-led-b1": ("LED-B1", "blue-pumped phosphor LED, warmest of B1 to B5"),
    "white-led-b2": ("LED-B2", "blue-pumped phosphor LED"),
    "white-led-b3": ("LED-B3", "blue-pumped phosphor LED"),
    "white-led-b4": ("LED-B4", "blue-pumped phosphor LED"),
    "white-led-b5": ("LED-B5", "blue-pumped phosphor LED, coolest of B1 to B5"),
    "white-led-bh1": ("LED-BH1", "blue-pumped phosphor LED with an added red LED"),
    "white-led-rgb1": ("LED-RGB1", "mix of a red, a green and a blue LED"),
    "white-led-v1": ("LED-V1", "violet-pumped phosphor LED, warmer"),
    "white-led-v2": ("LED-V2", "violet-pumped phosphor LED, cooler"),
}
OHNO_D_PER_FWHM = 1 / 0.921823

ZOOXANTHELLA_GAUSSIANS = """\
z1,0.555,382.0,44.5
z1,0.585,421.4,36.4
z1,0.289,441.2,18.8
z1,0.263,458.8,31.7
z1,0.606,492.8,112.1
z1,0.093,587.5,26.0
z1,0.261,632.6,48.5
z1,0.721,675.1,24.4
z2,0.396,388.8,59.6
z2,0.358,419.9,23.7
z2,0.68,440.5,19.8
z2,0.228,460.0,20.3
z2,0.367,483.4,94.1
z2,0.065,586.4,30.7
z2,0.119,632.6,45.5
z2,0.49,674.2,20.2
z4,0.475,378.2,39.9
z4,0.744,423.2,52.7
z4,0.093,441.8,14.3
z4,0.403,464.9,41.8
z4,0.807,511.5,98.9
z4,0.08,587.5,27.0
z4,0.28,634.5,50.1
z4,0.64,675.9,24.9
""".splitlines()

# Our own Gaussian fits to nine published action and absorption spectra; a study where the data set names one.
PUBLISHED_GAUSSIANS = """\
favia_action,Halldal 1968,0.62484,390.00,95.10
favia_action,Halldal 1968,0.038768,416.59,12.00
favia_action,Halldal 1968,0.74906,453.88,56.29
favia_action,Halldal 1968,0.33559,491.86,39.38
favia_action,Halldal 1968,0.6212,551.35,103.87
favia_action,Halldal 1968,0.48797,645.00,60.56
favia_action,Halldal 1968,0.55029,673.69,26.15
acropora_action,Kuhl et al. 1995,0.8747,425.76,12.00
acropora_action,Kuhl et al. 1995,0.44821,442.77,12.00
acropora_action,Kuhl et al. 1995,0.34413,463.09,32.30
acropora_action,Kuhl et al. 1995,0.68033,475.74,84.57
acropora_action,Kuhl et al. 1995,0.17319,527.52,40.20
acropora_action,Kuhl et al. 1995,0.18691,575.00,108.46
acropora_action,Kuhl et al. 1995,0.21305,645.00,45.84
acropora_action,Kuhl et al. 1995,0.63929,676.08,32.51
dinoflagellate_low_light_action,Prezelin 1976,0.70114,408.75,38.10
dinoflagellate_low_light_action,Prezelin 1976,0.2102,432.17,17.96
dinoflagellate_low_light_action,Prezelin 1976,0.8373,453.82,44.26
dinoflagellate_low_light_action,Prezelin 1976,0.69525,498.39,56.77
dinoflagellate_low_light_action,Prezelin 1976,0.30166,538.29,34.41
dinoflagellate_low_light_action,Prezelin 1976,0.28581,575.00,81.64
dinoflagellate_low_light_action,Prezelin 1976,0.36669,645.00,54.94
dinoflagellate_low_light_action,Prezelin 1976,0.78144,674.07,20.52
dinoflagellate_high_light_action,Prezelin 1976,0.74626,411.35,37.94
dinoflagellate_high_light_action,Prezelin 1976,0.36154,436.79,27.26
dinoflagellate_high_light_action,Prezelin 1976,0.76977,460.83,51.18
dinoflagellate_high_light_action,Prezelin 1976,0.52657,511.43,62.22
dinoflagellate_high_light_action,Prezelin 1976,0.12072,545.00,24.17
dinoflagellate_high_light_action,Prezelin 1976,0.18929,575.00,61.95
dinoflagellate_high_light_action,Prezelin 1976,0.26368,645.00,74.22
dinoflagellate_high_light_action,Prezelin 1976,0.83913,674.65,19.31
symbiodinium_absorption,Wangpraseurt et al. 2014,0.791,419.56,82.43
symbiodinium_absorption,Wangpraseurt et al. 2014,0.086356,436.67,12.00
symbiodinium_absorption,Wangpraseurt et al. 2014,0.59884,468.91,49.95
symbiodinium_absorption,Wangpraseurt et al. 2014,0.59354,509.39,49.70
symbiodinium_absorption,Wangpraseurt et al. 2014,0.24818,541.50,33.26
symbiodinium_absorption,Wangpraseurt et al. 2014,0.094255,575.00,79.20
symbiodinium_absorption,Wangpraseurt et al. 2014,0.14245,644.83,43.45
symbiodinium_absorption,Wangpraseurt et al. 2014,0.57429,675.74,22.95
chlorophyll_default,,0.64997,410.71,59.20
chlorophyll_default,,0.069893,436.53,12.00
chlorophyll_default,,0.80924,462.56,71.43
chlorophyll_default,,0.3741,515.00,51.33
chlorophyll_default,,0.16919,545.00,27.84
chlorophyll_default,,0.14989,575.00,32.65
chlorophyll_default,,0.32459,645.00,120.00
chlorophyll_default,,0.30293,673.66,26.20
symbiodinium_blue_grown,,0.82719,407.78,101.18
symbiodinium_blue_grown,,0.31399,444.38,42.96
symbiodinium_blue_grown,,0.15256,465.16,12.00
symbiodinium_blue_grown,,0.56076,493.06,60.90
symbiodinium_blue_grown,,0.20257,540.19,37.20
symbiodinium_blue_grown,,0.13171,575.00,41.44
symbiodinium_blue_grown,,0.2263,631.76,72.59
symbiodinium_blue_grown,,0.55827,670.87,23.79
symbiodinium_red_grown,,0.88688,405.92,71.79
symbiodinium_red_grown,,0.38373,443.24,38.41
symbiodinium_red_grown,,0.14211,464.90,12.88
symbiodinium_red_grown,,0.66165,485.36,59.62
symbiodinium_red_grown,,0.19693,537.83,42.88
symbiodinium_red_grown,,0.11035,575.00,42.95
symbiodinium_red_grown,,0.16567,629.96,86.85
symbiodinium_red_grown,,0.33511,671.92,22.04
symbiodinium_green_grown,,0.72687,402.47,53.89
symbiodinium_green_grown,,0.74407,442.30,44.41
symbiodinium_green_grown,,0.19427,465.01,12.00
symbiodinium_green_grown,,0.62569,487.06,51.77
symbiodinium_green_grown,,0.213,535.43,42.08
symbiodinium_green_grown,,0.088196,575.00,41.89
symbiodinium_green_grown,,0.16614,634.67,92.73
symbiodinium_green_grown,,0.41732,671.04,20.92
""".splitlines()

# Blue-light hazard weighting B at the 5 nm nodes of IEC 62471:2006 (CIE S 009), 380-500 nm; 300-380 nm is
# 0.01 from memory, 500-600 nm is 10^((450 - l)/50), 600-700 nm is 0.001.
BLUE_LIGHT_NODES = """\
380 0.01 0.013 0.025 0.05 0.1 0.2 0.4 0.8 0.9 0.95 0.98 1 1
445 0.97 0.94 0.9 0.8 0.7 0.62 0.55 0.45 0.4 0.22 0.16 0.1
"""

# Actinic UV hazard weighting S, 1 nm, ten a line after the wavelength of the first: IEC 62471-6:2022.
ACTINIC_UV = """\
200: 0.03 0.033359 0.037094 0.041247 0.045865 0.051 0.055089 0.059507 0.064278 0.069433
210: 0.075 0.078631 0.082438 0.086429 0.090613 0.095 0.099544 0.104305 0.109294 0.114522
220: 0.12 0.125477 0.131203 0.137192 0.143453 0.15 0.157262 0.164876 0.172858 0.181226
230: 0.19 0.199088 0.208611 0.218589 0.229044 0.24 0.250953 0.262407 0.274383 0.286906
240: 0.3 0.311141 0.322696 0.33468 0.347109 0.36 0.373023 0.386517 0.4005 0.414988
250: 0.43 0.446523 0.463681 0.481498 0.5 0.52 0.543733 0.568548 0.594497 0.621629
260: 0.65 0.679247 0.70981 0.741748 0.775123 0.81 0.844866 0.881234 0.919166 0.958732
270: 1 0.991869 0.983804 0.975804 0.96787 0.96 0.943438 0.927162 0.911167 0.895448
280: 0.88 0.85681 0.83423 0.812246 0.790841 0.77 0.742042 0.715099 0.689135 0.664113
290: 0.64 0.618618 0.597951 0.577974 0.558664 0.54 0.498397 0.46 0.398914 0.345939
300: 0.3 0.221042 0.162865 0.12 0.084853 0.06 0.045404 0.034358 0.026 0.019748
310: 0.015 0.011052 0.008143 0.006 0.004243 0.003 0.0024 0.002 0.0016 0.0012
320: 0.001 0.000819 0.00067 0.00054 0.00052 0.0005 0.000479 0.000459 0.00044 0.000425
330: 0.00041 0.000396 0.000383 0.00037 0.000355 0.00034 0.000327 0.000315 0.000303 0.000291
340: 0.00028 0.000271 0.000263 0.000255 0.000248 0.00024 0.000231 0.000223 0.000215 0.000207
350: 0.0002 0.000191 0.000183 0.000175 0.000167 0.00016 0.000153 0.000147 0.000141 0.000136
360: 0.00013 0.000126 0.000122 0.000118 0.000114 0.00011 0.000106 0.000103 9.9e-05 9.6e-05
370: 9.3e-05 9e-05 8.6e-05 8.3e-05 8e-05 7.7e-05 7.4e-05 7.2e-05 6.9e-05 6.6e-05
380: 6.4e-05 6.2e-05 5.9e-05 5.7e-05 5.5e-05 5.3e-05 5.1e-05 4.9e-05 4.7e-05 4.6e-05
390: 4.4e-05 4.2e-05 4.1e-05 3.9e-05 3.7e-05 3.6e-05 3.5e-05 3.3e-05 3.2e-05 3.1e-05
400: 3e-05
""".splitlines()


@dataclass(frozen=True)
class SourcedTable:
    """One file of ``spectra/``: where it goes, what its header says, its rows."""

    path: str
    title: str
    quantity: str
    unit: str
    citation: str
    licence: str
    obtained: str
    valid_range: str
    origin: str
    columns: str
    rows: Sequence[str]
    remarks: tuple[str, ...] = ()

    def text(self) -> str:
        """The file's content: header lines with ``#``, then the columns."""
        header = [
            f"# title: {self.title}",
            f"# quantity: {self.quantity}",
            f"# unit: {self.unit}",
            f"# source: {self.citation}",
            f"# licence: {self.licence}",
            f"# obtained: {self.obtained}",
            f"# valid range: {self.valid_range}",
            *(f"# {remark}" for remark in self.remarks),
        ]
        return "\n".join([*header, self.columns, *self.rows]) + "\n"


def _pairs(nodes: Iterable[float], values: Iterable[float]) -> list[str]:
    return [f"{node:g},{float(value)!r}" for node, value in zip(nodes, values, strict=True)]


def _single_led(name: str, peak_nm: float, fwhm_nm: float) -> SourcedTable:
    nodes = np.arange(300.0, 801.0)
    gauss = np.exp(-(((nodes - peak_nm) / (fwhm_nm * OHNO_D_PER_FWHM)) ** 2))
    values = (gauss + 2 * gauss**5) / 3
    return SourcedTable(
        path=f"emitters/{name}.csv",
        title=f"single-colour LED {name}, peak {peak_nm:g} nm, FWHM {fwhm_nm:g} nm (a model, no product)",
        quantity="relative_power",
        unit="1 (spectral power, maximum 1)",
        citation="shape: Ohno 2005, Opt. Eng. 44:111302; peak and width: our choice, widths from memory",
        licence="MIT, made for lightdose",
        obtained="y = (g + 2 g^5)/3 with g = exp(-((l - peak)/D)^2) and FWHM = 0.921823 D, 6 digits",
        valid_range="300-800 nm",
        origin="modelled by us",
        columns="wavelength_nm,value",
        rows=[
            f"{node:g},{value if value > 1e-12 else 0:.6g}" for node, value in zip(nodes, values, strict=True)
        ],
    )


def _white_leds() -> list[SourcedTable]:
    import colour

    tables = []
    for name, (illuminant, kind) in WHITE_LEDS.items():
        distribution = colour.SDS_ILLUMINANTS[illuminant]
        tables.append(
            SourcedTable(
                path=f"emitters/{name}.csv",
                title=f"CIE illuminant {illuminant}: {kind}",
                quantity="relative_power",
                unit="1 (relative spectral power)",
                citation=f"CIE 015:2018, Colorimetry, 4th edition, LED illuminants ({illuminant})",
                licence="facts of a standard; as tabulated in colour-science (BSD-3-Clause)",
                obtained="colour-science 0.4.7, SDS_ILLUMINANTS, unchanged",
                valid_range="380-780 nm, 5 nm",
                origin="standard table",
                columns="wavelength_nm,value",
                rows=_pairs(distribution.wavelengths, distribution.values),
            )
        )
    return tables


def _vision() -> list[SourcedTable]:
    import colour

    photopic = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    named = [
        ("photopic", "luminous efficiency V(lambda), photopic", photopic.wavelengths, photopic.values),
        *(
            (
                f"cie1931_{axis}",
                f"CIE 1931 2 degree colour matching function {axis}",
                matching.wavelengths,
                column,
            )
            for axis, column in zip("xyz", matching.values.T, strict=True)
        ),
    ]
    return [
        SourcedTable(
            path=f"vision/{name}.csv",
            title=title,
            quantity="weighting of spectral power",
            unit="1",
            citation="CIE 018:2019 (V) and CIE 015:2018 (colour matching functions); ISO/CIE 11664-1",
            licence="facts of a standard; as tabulated in colour-science (BSD-3-Clause)",
            obtained="colour-science 0.4.7, 1 nm, unchanged",
            valid_range="360-830 nm, zero outside",
            origin="standard table",
            columns="wavelength_nm,value",
            rows=_pairs(nodes, values),
        )
        for name, title, nodes, values in named
    ]


def _daylight() -> SourcedTable:
    import colour

    daylight = colour.SDS_ILLUMINANTS["D65"]
    return SourcedTable(
        path="illuminants/d65.csv",
        title="CIE standard illuminant D65, a light that meters are calibrated on",
        quantity="relative spectral power",
        unit="100 at 560 nm",
        citation="CIE 015:2018; ISO/CIE 11664-2",
        licence="facts of a standard; as tabulated in colour-science (BSD-3-Clause)",
        obtained=f"colour-science 0.4.7, {np.diff(daylight.wavelengths)[0]:g} nm, unchanged",
        valid_range=f"{daylight.wavelengths[0]:g}-{daylight.wavelengths[-1]:g} nm",
        origin="standard table",
        columns="wavelength_nm,value",
        rows=_pairs(daylight.wavelengths, daylight.values),
    )


def _water() -> SourcedTable:
    import jerlov

    nodes = np.arange(300.0, 801.0)
    return SourcedTable(
        path="water/pure_water.csv",
        title="absorption of pure water",
        quantity="absorption coefficient, base e",
        unit="m-1",
        citation="Williamson & Hollins 2022, Appl. Opt. 61:9951, data set 10.6084/m9.figshare.20290782 v3, "
        "after Buiteveld et al. 1994",
        licence="table: package jerlov, Apache-2.0, (c) 2026 T. Ishibashi; data: Open Government Licence "
        "v3.0, (c) Crown copyright 2022, Dstl",
        obtained="jerlov 0.22.0, pure_water_absorption(), 1 nm, unchanged",
        valid_range="300-800 nm",
        origin="standard table",
        columns="wavelength_nm,value",
        rows=_pairs(nodes, jerlov.pure_water_absorption(nodes)),
        remarks=(
            "remark: through 0.5 m it differs from Pope & Fry 1997 by at most 0.2 % at 380-640 nm, 0.4 % at "
            "650, 1.6 % at 660-680, 2.6 % at 700",
        ),
    )


def _published_use() -> SourcedTable:
    return SourcedTable(
        path="zooxanthella/published.csv",
        title="relative action and absorption per incident photon, coral symbionts and tissue, nine curves",
        quantity="parameters of Gaussians; weight = sum height * exp(-4 ln2 ((lambda - centre)/fwhm)^2), "
        "held to at most 1",
        unit="height 1, centre nm, fwhm nm",
        citation="Halldal 1968; Kuhl et al. 1995; Prezelin 1976 (two light levels); Wangpraseurt et al. "
        "2014, digitised in the open data set open-AIMS Light_calcs, related paper doi "
        "10.3389/fmars.2021.727206",
        licence="data set: CC0 / CC BY 4.0; the fits: MIT, made for lightdose (figures, no copied table)",
        obtained="our own Gaussian fits to nine digitised curves, each over its own maximum in 400-700 nm; "
        "largest error at their 10 nm points 0.062 (acropora_action), 0.033 or less for the others",
        valid_range="400-700 nm, zero outside",
        origin="modelled by us",
        columns="curve,study,height,centre_nm,fwhm_nm",
        rows=PUBLISHED_GAUSSIANS,
        remarks=(
            "default: the mean of the five curves with a study; range: lowest to highest of all nine",
            "without a study: the data set names none in full (its package default, labelled chlorophyll a, "
            "and three curves of symbionts grown in blue, red and green light, labelled Hennige)",
            "held to 1: between the 10 nm points the fit of acropora_action would reach 1.15 at 426 nm",
            "below 420 nm the curves disagree: 0.13 to 0.93 for a 405 nm LED",
        ),
    )


def _zooxanthella() -> SourcedTable:
    return SourcedTable(
        path="zooxanthella/gaussians.csv",
        title="pigment models: relative absorption per incident photon, Symbiodiniaceae, for comparison",
        quantity="parameters of Gaussians; weight = sum height * exp(-4 ln2 ((lambda - centre)/fwhm)^2), "
        "then divided by its maximum over 380-750 nm",
        unit="height 1, centre nm, fwhm nm",
        citation="pigment sets: Clementson & Wojtasiewicz 2019, Data in Brief 103875; Bricaud et al. 2004, "
        "JGR 109 C11010; recipe chlorophyll a 1 : chlorophyll c2 0.1273 : peridinin 0.4733 by mass",
        licence="MIT, made for lightdose",
        obtained="modelled by us: Gaussian fits (largest error 0.011) to the pigment recipes",
        valid_range="380-750 nm, zero outside",
        origin="modelled by us",
        columns="curve,height,centre_nm,fwhm_nm",
        rows=ZOOXANTHELLA_GAUSSIANS,
        remarks=(
            "z1: mean of both pigment sets, sphere package effect rho 2.2 at the peak",
            "z2: sharp bound; first set, no package effect",
            "z4: shade-type bound; more accessory pigment (c2 0.25, peridinin 0.90, from memory), "
            "package effect",
            "tissue (computed, not tabulated): grey bound 1 - exp(-k z1) with absorptance 0.8 at 675 nm",
            "uncertainty of z1: +-0.10 at 400-430 and 650-690 nm, +-0.15-0.25 at 480-560 nm",
        ),
    )


def _blue_light_hazard() -> SourcedTable:
    first, second = (line.split()[1:] for line in BLUE_LIGHT_NODES.splitlines())
    nodes = np.arange(300.0, 701.0)
    values = np.interp(nodes, np.arange(380.0, 501.0, 5), np.array([*first, *second], dtype=np.float64))
    values = np.where(nodes > 500, np.maximum(10 ** ((450 - nodes) / 50), 0.001), values)
    return SourcedTable(
        path="hazard/blue_light.csv",
        title="blue-light hazard weighting B(lambda)",
        quantity="weighting of spectral power",
        unit="1",
        citation="IEC 62471:2006 / CIE S 009 (the same as ICNIRP), 5 nm nodes of 380-500 nm; 300-380 nm from "
        "memory",
        licence="facts of a standard",
        obtained="5 nm nodes as coded in luxpy 1.12.5, straight lines between; 500-600 nm 10^((450 - l)/50), "
        "600-700 nm 0.001, to 6 digits",
        valid_range="300-700 nm, zero outside",
        origin="standard table",
        columns="wavelength_nm,value",
        rows=[f"{node:g},{value:.6g}" for node, value in zip(nodes, values, strict=True)],
        remarks=("remark: 300-380 nm is 0.01 from memory; luxpy extrapolates there instead",),
    )


def _actinic_uv_hazard() -> SourcedTable:
    values = [value for line in ACTINIC_UV for value in line.split()[1:]]
    return SourcedTable(
        path="hazard/actinic_uv.csv",
        title="actinic UV hazard weighting S(lambda)",
        quantity="weighting of spectral power",
        unit="1 (1 at 270 nm)",
        citation="IEC 62471-6:2022 (eye and skin; the same as ICNIRP 2004)",
        licence="facts of a standard; as tabulated in guv-calcs (MIT)",
        obtained="guv-calcs 0.10.0, column IEC 62471-6:2022 (Eye/Skin), unchanged; checked against the "
        "closed formula of ICNIRP as coded in r4photobiology",
        valid_range="200-400 nm, zero outside",
        origin="standard table",
        columns="wavelength_nm,value",
        rows=[f"{node},{value}" for node, value in zip(range(200, 401), values, strict=True)],
        remarks=(
            "remark: ANSI RP-27.1-22 differs below 300 nm (eye and skin apart) and is the same at 300-400 nm",
        ),
    )


def tables() -> list[SourcedTable]:
    """Every file of ``spectra/``, in the order of SOURCES.toml."""
    leds = [_single_led(name, peak, width) for name, (peak, width) in SINGLE_LEDS.items()]
    hazards = [_blue_light_hazard(), _actinic_uv_hazard()]
    return [
        *leds,
        *_white_leds(),
        *_vision(),
        _daylight(),
        _water(),
        _published_use(),
        _zooxanthella(),
        *hazards,
    ]


def sources_toml(made: Sequence[SourcedTable]) -> str:
    """One row a file, with the hash of its bytes."""
    rows = ["# One row a file of spectra/; written by tests/make_spectra.py, held by tests/test_sources.py."]
    for table in made:
        digest = hashlib.sha256(table.text().encode()).hexdigest()
        rows += ["", "[[file]]"]
        rows += [
            f"{key} = {json.dumps(value, ensure_ascii=False)}"
            for key, value in (
                ("path", table.path),
                ("title", table.title),
                ("sha256", digest),
                ("citation", table.citation),
                ("licence", table.licence),
                ("origin", table.origin),
            )
        ]
    return "\n".join(rows) + "\n"


def main() -> None:
    """Write the files."""
    made = tables()
    for table in made:
        target = SPECTRA / table.path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(table.text().encode())
    (SPECTRA / "SOURCES.toml").write_bytes(sources_toml(made).encode())
    sys.stdout.write(f"{len(made)} tables in {SPECTRA}\n")


if __name__ == "__main__":
    main()
