"""Spectrum files in every dialect: the same numbers, or a sentence with the line."""

from __future__ import annotations

import codecs
from pathlib import Path

import numpy as np
import pytest

from lightdose.errors import SpectrumError
from lightdose.files.spectrum_file import HEADERS, LIMIT_BYTES, read_spectral_table, read_spectrum

ROWS = [(400, 0.5), (402, 1.25), (404, 2.0), (406, 0.0)]
PLAIN = "wavelength_nm,relative_power\n" + "".join(f"{nm},{v}\n" for nm, v in ROWS)


@pytest.fixture
def write(tmp_path):
    """Write a file and give its path."""

    def writer(content: str | bytes, name: str = "lamp.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return writer


def refusal(path: Path, quantity=None) -> str:
    """The message of a file that is refused."""
    with pytest.raises(SpectrumError) as caught:
        read_spectrum(path, "lamp.csv", quantity)
    text = str(caught.value)
    assert "invalid" not in text.lower()
    assert "!" not in text
    return text


def semicolons(text: str) -> str:
    """The same table as a European spreadsheet writes it."""
    return text.replace(",", ";").replace(".", ",")


@pytest.mark.identity
@pytest.mark.parametrize(
    "content",
    [
        PLAIN,
        PLAIN.replace("\n", "\r\n"),
        codecs.BOM_UTF8 + PLAIN.encode(),
        PLAIN.encode("utf-16"),
        ("# aufgenommen mit Gerät, 20 °C\n" + PLAIN).encode("cp1252"),
        semicolons(PLAIN),
        "sep=;\n" + semicolons(PLAIN),
        PLAIN.replace(",", "\t"),
        PLAIN.replace(",", "\t").replace(".", ","),
        PLAIN.replace(",", "  "),
        "# lamp\n# 2 nm steps\n" + PLAIN,
        "My instrument\nexposure;100\n\n" + semicolons(PLAIN),
        PLAIN.replace("wavelength_nm", "Wavelength (nm)").replace("relative_power", "Relative_Power"),
        "relative_power,wavelength_nm\n" + "".join(f"{v},{nm}\n" for nm, v in ROWS),
        "wavelength_nm,relative_power,note\n" + "".join(f"{nm},{v},x\n" for nm, v in ROWS),
    ],
)
def test_every_dialect_reads_the_same_numbers(write, content):
    """BOM, UTF-16, Windows-1252, separators, decimal comma, preambles, order of columns."""
    spectrum = read_spectrum(write(content), "lamp.csv")
    np.testing.assert_array_equal(spectrum.wavelength_nm, [nm for nm, _ in ROWS])
    np.testing.assert_array_equal(spectrum.values, [v for _, v in ROWS])
    assert (spectrum.quantity, spectrum.absolute_unit) == ("power", None)
    assert spectrum.notes[0].startswith("4 rows, 400-406 nm, ")


@pytest.mark.pinned
def test_what_was_understood_is_echoed(write):
    """The user can check dialect and range at a glance."""
    table = "".join(f"{nm};{nm / 1000:.3f}\n".replace(".", ",") for nm in range(380, 781))
    spectrum = read_spectrum(write("wavelength_nm;relative_power\n" + table), "lamp.csv")
    assert spectrum.notes == ("401 rows, 380-780 nm, separator ';', decimal comma",)


@pytest.mark.identity
@pytest.mark.parametrize(("header", "meaning"), HEADERS.items())
def test_header_fixes_quantity_and_unit(write, header, meaning):
    """Each of the six headers says power or photons, and the unit."""
    spectrum = read_spectrum(write(PLAIN.replace("relative_power", header)), "lamp.csv")
    assert (spectrum.quantity, spectrum.absolute_unit) == meaning


@pytest.mark.identity
@pytest.mark.parametrize(
    ("content", "says"),
    [
        (PLAIN.partition("\n")[2], "no header line says"),
        (PLAIN.replace("relative_power", "counts"), "does not say what the values are"),
    ],
)
def test_quantity_stands_in_for_a_header(write, content, says):
    """No header, or another one: read only with the quantity given, and taken as relative."""
    path = write(content)
    assert says in refusal(path)
    spectrum = read_spectrum(path, "lamp.csv", "photons")
    assert (spectrum.quantity, spectrum.absolute_unit) == ("photons", None)
    np.testing.assert_array_equal(spectrum.values, [v for _, v in ROWS])


@pytest.mark.pinned
def test_unknown_header_names_the_nearest_and_all(write):
    """A slip in the header is mended from the message alone."""
    text = refusal(write(PLAIN.replace("relative_power", "relativ_power")))
    assert text.startswith(
        "lamp.csv:1: the header 'wavelength_nm', 'relativ_power' does not say what the values"
    )
    assert "did you mean relative_power?" in text
    assert all(header in text for header in HEADERS)


@pytest.mark.pinned
def test_quantity_against_the_header_is_refused(write):
    """Two statements that differ are never resolved by guessing."""
    text = refusal(write(PLAIN), "photons")
    assert "lamp.csv:1:15: the column 'relative_power' holds power, but quantity 'photons' was given" in text


@pytest.mark.pinned
def test_two_spectra_in_one_file_are_refused(write):
    """Nothing says which one is meant."""
    text = refusal(write("wavelength_nm,relative_power,relative_photons\n400,1,2\n500,2,3\n"))
    assert "2 columns hold spectra: relative_power, relative_photons" in text


@pytest.mark.pinned
def test_descending_rows_are_turned_round_and_said(write):
    """A file from red to violet reads like its mirror."""
    rows = "".join(f"{nm},{v}\n" for nm, v in reversed(ROWS))
    spectrum = read_spectrum(write("wavelength_nm,relative_power\n" + rows), "lamp.csv")
    np.testing.assert_array_equal(spectrum.values, [v for _, v in ROWS])
    assert (
        spectrum.notes[1] == "wavelengths fall from 406 to 400 nm (lines 2 to 5): read from the last row up"
    )


@pytest.mark.pinned
def test_order_that_changes_is_refused_at_its_line(write):
    """Two spectra below one another, or a slip in a digit, stop at the line where the order turns."""
    text = refusal(write(PLAIN + "401,3\n"))
    assert text.startswith("lamp.csv:6:1: wavelength 401 nm after 406 nm: the order changes here")


@pytest.mark.pinned
def test_duplicate_rows_are_dropped_or_refused(write):
    """The same pair twice is left out and said; two values for one wavelength are refused."""
    same = read_spectrum(write(PLAIN + "406,0\n"), "lamp.csv")
    assert same.wavelength_nm.size == 4
    assert same.notes[1] == "1 row with a wavelength and value that stand twice left out (line 6)"
    text = refusal(write(PLAIN + "406,0.5\n"))
    assert (
        "lamp.csv:6:1: wavelength 406 nm stands twice with different values, 0 and 0.5 (lines 5 and 6)"
        in text
    )


@pytest.mark.pinned
def test_small_negatives_become_zero_and_large_ones_are_refused(write):
    """Noise below zero is set to zero and counted; a deep negative is a fault of the file."""
    noisy = read_spectrum(write(PLAIN + "408,-0.01\n410,-0.04\n"), "lamp.csv")
    assert noisy.values[-2:].tolist() == [0, 0]
    assert noisy.notes[1] == "2 negative values set to zero (lowest -0.04 in line 7)"
    text = refusal(write(PLAIN + "408,-0.5\n"))
    assert "lamp.csv:6:5: -0.5 is further below zero than noise" in text


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("content", "found"),
    [
        (
            "wavelength_nm,relative_power\n0.4,1\n0.5,2\n0.8,1\n",
            "run from 0.4 to 0.8: these look like micrometres",
        ),
        (
            "wavelength_um,relative_power\n400,1\n500,2\n",
            "the wavelengths 'wavelength_um' are in micrometres",
        ),
        ("wavelength_nm,relative_power\n4000,1\n7000,2\n", "run from 4000 to 7000: these look like angstrom"),
        ("wavelength_nm,relative_power\n900,1\n1000,2\n", "the wavelengths run from 900 to 1000"),
        ("wavelength_nm,relative_power\n-1,1\n400,2\n", "wavelength -1 nm is not above 0"),
    ],
)
def test_other_units_are_refused_not_converted(write, content, found):
    """A unit is never assumed: the message says by what to multiply."""
    assert found in refusal(write(content))


@pytest.mark.pinned
def test_gap_in_the_light_is_refused_and_a_small_one_is_said(write):
    """50 nm without rows in the middle of the light cannot be bridged; 10 nm can, and is told."""
    head = "wavelength_nm,relative_power\n"

    def rows(*spans: tuple[int, int]) -> str:
        return head + "".join(f"{nm},1\n" for low, high in spans for nm in range(low, high))

    text = refusal(write(rows((400, 450), (500, 550))))
    assert "lamp.csv:52:1: nothing between 449 and 500 nm, where there is light" in text
    bridged = read_spectrum(write(rows((400, 450), (460, 500))), "lamp.csv")
    assert bridged.notes[1] == "gap from 449 to 460 nm (lines 51 and 52) bridged"


@pytest.mark.pinned
def test_every_bad_number_is_reported_at_once(write):
    """All rows that are no numbers, each with its line and column."""
    text = refusal(write("wavelength_nm,relative_power\n400,1\n410,n/a\n420,\n430,2\n440,nan\n"))
    assert "lamp.csv:3:5:" in text
    assert "lamp.csv:4:5:" in text
    assert "lamp.csv:6:5:" in text
    assert text.endswith("3 problems")


@pytest.mark.pinned
@pytest.mark.parametrize("cell", ["n/a", "-5"])
def test_long_list_of_bad_numbers_is_counted(write, cell):
    """Twenty are shown, and how many more there are; the sum at the end counts all."""
    rows = "".join(f"{400 + i},{cell}\n" for i in range(51))
    text = refusal(write(f"wavelength_nm,relative_power\n399,1\n{rows}600,1\n"))
    assert text.count("lamp.csv:") == 21
    assert "lamp.csv:22:5: and 31 more problems" in text
    assert text.endswith("51 problems")


@pytest.mark.pinned
@pytest.mark.parametrize("content", ["400,5,0,1\n401,5,0,2\n", "1.234,5\n1.235,6\n"])
def test_ambiguous_commas_are_refused_with_their_line(write, content):
    """Commas that may be decimal or not are never decided by guessing."""
    assert refusal(write(content), "power").startswith("lamp.csv:1:")


@pytest.mark.pinned
def test_dark_or_single_row_is_refused(write):
    """A spectrum needs light and two rows."""
    assert "every value is zero" in refusal(write("wavelength_nm,relative_power\n400,0\n500,0\n"))
    infrared = "wavelength_nm,relative_power\n700,0\n800,0\n900,1\n"
    assert "every value is zero between 300 and 800 nm" in refusal(write(infrared))
    assert "one row makes no spectrum" in refusal(write("wavelength_nm,relative_power\n400,1\n"))


@pytest.mark.pinned
def test_size_limit_is_named(write):
    """20 MB is refused unread, with the limit."""
    assert "up to 20 MB" in refusal(write(b"#" * (LIMIT_BYTES + 1)))


@pytest.mark.pinned
def test_missing_file_is_a_sentence(tmp_path):
    """A wrong name is a message with the files nearby."""
    (tmp_path / "lamp.csv").write_text(PLAIN)
    with pytest.raises(SpectrumError, match=r"there is no such file"):
        read_spectrum(tmp_path / "lump.csv", "lump.csv")


@pytest.mark.identity
def test_own_tables_read_as_files(write):
    """A file of the library says its quantity in its header lines, so a copy of it is a spectrum file."""
    from lightdose.files.library import data_file, read_emitter

    copy = write(data_file("emitters", "blue-445.csv").read_bytes())
    spectrum = read_spectrum(copy, "lamp.csv")
    np.testing.assert_array_equal(spectrum.values, read_emitter("blue-445").values)
    assert spectrum.quantity == "power"


@pytest.mark.identity
def test_table_of_absorption_reads_and_holds_its_ends(write):
    """Any other function of wavelength, at the centres of the grid, constant beyond its ends."""
    table = read_spectral_table(write("wavelength_nm,absorption_per_m\n380,0.02\n750,2.8\n"), "water.csv")
    on_grid = table.on_grid()
    assert (on_grid[0], on_grid[-1]) == (0.02, 2.8)
    assert on_grid[100] == pytest.approx(0.02 + 20.5 / 370 * 2.78, rel=1e-12)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("content", "found"),
    [
        ("wavelength_nm,attenuation\n380,1\n750,1\n", "the columns are 'wavelength_nm', 'attenuation'"),
        ("wavelength_nm,absorption_per_m\n400,1\n750,1\n", "the table runs from 400 to 750 nm"),
        ("wavelength_nm,absorption_per_m\n380,-1\n750,1\n", "-1 is outside 0 to 1000"),
        ("wavelength_nm,absorption_per_m\n0.38,1\n0.75,1\n", "these look like micrometres"),
        ("wavelength_nm,absorption_per_m\n380,1\n380,2\n750,1\n", "stands twice with different values"),
    ],
)
def test_table_that_cannot_be_used_is_refused(write, content, found):
    """Header, range and values are held to what the caller needs."""
    with pytest.raises(SpectrumError) as caught:
        read_spectral_table(
            write(content), "water.csv", column="absorption_per_m", covers_nm=(380, 750), allowed=(0, 1000)
        )
    assert found in str(caught.value)
