"""IES TM-27 files: read by colour-science, guarded by us."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lightdose.errors import SpectrumError
from lightdose.files.spectrum_file import LIMIT_BYTES, read_spectrum

FORM = """<?xml version="1.0"?>
<IESTM2714 xmlns="iestm2714" version="1.0">
 <Header><Description>invented lamp</Description></Header>
 <SpectralDistribution>
  <SpectralQuantity>{quantity}</SpectralQuantity>
{rows}
 </SpectralDistribution>
</IESTM2714>
"""


def form(rows, quantity: str = "relative") -> str:
    """A TM-27 text with such rows."""
    lines = (f'  <SpectralData wavelength="{nm}">{value}</SpectralData>' for nm, value in rows)
    return FORM.format(quantity=quantity, rows="\n".join(lines))


@pytest.fixture
def write(tmp_path):
    """Write a file and give its path."""

    def writer(content: str | bytes, name: str = "lamp.spdx") -> Path:
        path = tmp_path / name
        path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))
        return path

    return writer


def refusal(path: Path, quantity=None) -> str:
    """The message of a file that is refused."""
    with pytest.raises(SpectrumError) as caught:
        read_spectrum(path, path.name, quantity)
    return str(caught.value)


@pytest.mark.published
def test_sample_file_reads_as_colour_science_reads_it():
    """The sample that colour-science carries: the same wavelengths and values."""
    # Source: colour-science, examples of its IES TM-27-14 reader.
    import colour

    (sample,) = Path(colour.__file__).parent.glob("examples/io/resources/TM27*.spdx")
    theirs = colour.SpectralDistribution_IESTM2714(str(sample)).read()
    ours = read_spectrum(sample, sample.name)
    np.testing.assert_array_equal(ours.wavelength_nm, theirs.wavelengths)
    np.testing.assert_array_equal(ours.values, theirs.values)
    assert ours.quantity == "power"


@pytest.mark.identity
@pytest.mark.parametrize(
    ("quantity", "unit"),
    [("relative", None), ("flux", "W nm-1"), ("irradiance", "W m-2 nm-1"), ("radiance", None)],
)
@pytest.mark.parametrize("name", ["lamp.xml", "lamp.spdx", "LAMP.XML"])
def test_stated_quantity_fixes_the_unit(write, quantity, unit, name):
    """Flux and irradiance are absolute; what lightdose has no use for in absolute terms is relative."""
    spectrum = read_spectrum(write(form([(400, 1), (405, 2), (410, 0)], quantity), name), name)
    assert (spectrum.quantity, spectrum.absolute_unit) == ("power", unit)
    assert spectrum.notes[0].startswith(f"3 rows, 400-410 nm, IES TM-27, {quantity}")
    assert ("taken as relative" in spectrum.notes[0]) == (quantity == "radiance")


@pytest.mark.pinned
def test_falling_rows_are_turned_round_and_said(write):
    """Rows from red to violet read like their mirror, with the lines."""
    spectrum = read_spectrum(write(form([(410, 0), (405, 2), (400, 1)])), "lamp.spdx")
    assert spectrum.values.tolist() == [1, 2, 0]
    assert "wavelengths fall from 410 to 400 nm (lines 6 to 8)" in spectrum.notes[1]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("content", "found"),
    [
        ("<a><b></a>", "lamp.spdx:1:9: broken XML: mismatched tag"),
        ("", "broken XML: no element found"),
        ("<a/>", "this XML is not an IES TM-27 spectrum"),
        ('<?xml version="1.0" encoding="klingon"?><a/>', "names an encoding that cannot be read"),
        (form([(400, 1), (405, "much")]), 'lamp.spdx:7: "much" is not a number'),
        (form([]), "the file has no SpectralData"),
        (
            form([(400, 1), (405, 2)], "reflectance"),
            "SpectralQuantity 'reflectance' is not a spectrum of light",
        ),
        (form([(0.4, 1), (0.5, 2)]), "these look like micrometres"),
        ("<a>" * 200_000, "elements are nested more than 20 deep"),
    ],
)
def test_broken_file_is_a_sentence(write, content, found):
    """Whatever is wrong with the XML, the message says it with the line."""
    assert found in refusal(write(content))


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_entity_bomb_is_refused_before_it_expands(write, encoding):
    """A document type declaration is refused in any encoding, so no entity is ever expanded."""
    entities = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10}">' for i in range(1, 12))
    bomb = (
        f'<?xml version="1.0" encoding="{encoding}"?><!DOCTYPE a [<!ENTITY e0 "ha">{entities}]><a>&e11;</a>'
    )
    assert "holds a document type declaration" in refusal(write(bomb.encode(encoding)))


@pytest.mark.pinned
def test_quantity_against_the_file_is_refused(write):
    """The file says power; photons cannot be forced on it."""
    assert "the file holds power, but quantity 'photons' was given" in refusal(
        write(form([(400, 1), (405, 2)])), "photons"
    )


@pytest.mark.pinned
def test_size_limit_and_missing_file_are_sentences(write, tmp_path):
    """20 MB is refused with the limit; a missing file is said."""
    assert "up to 20 MB" in refusal(write(b" " * (LIMIT_BYTES + 1)))
    assert "cannot be read: no such file or directory" in refusal(tmp_path / "none.xml")
