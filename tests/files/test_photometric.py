"""Photometric files: shapes, symmetries, limits; the numbers against two general-purpose readers."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
import pytest

from lightdose.errors import SetupError
from lightdose.files.photometric import read_photometric

GAMMAS = (0.0, 30.0, 60.0, 90.0)


def ies(planes: dict[float, tuple[float, ...]], header: str = "IES:LM-63-2019", tilt: str = "NONE") -> str:
    """An invented IES file with 4 vertical angles."""
    rows = "\n".join(" ".join(f"{v:g}" for v in row) for row in planes.values())
    return (
        f"{header}\n[TEST] invented\n[MANUFAC] nobody\nTILT={tilt}\n1 1000 1 {len(GAMMAS)} {len(planes)} 1 2 "
        f"0.4 0.06 0\n1 1 80\n{' '.join(f'{g:g}' for g in GAMMAS)}\n"
        f"{' '.join(f'{c:g}' for c in planes)}\n{rows}\n"
    )


def ldt(symmetry: int, c_step: float, planes: list[tuple[float, ...]]) -> str:
    """An invented EULUMDAT file with 4 angles in a plane."""
    count = round(360 / c_step)
    head = ["nobody", "1", str(symmetry), str(count), f"{c_step:g}", "4", "30", "r", "demo", "1", "f", "d"]
    head += ["400", "60", "20", "380", "50", "0", "0", "0", "0", "100", "100", "1", "0", "1"]
    head += ["1", "LED", "1000", "20000", "80", "80", *["0.5"] * 10]
    head += [f"{i * c_step:g}" for i in range(count)] + [f"{g:g}" for g in GAMMAS]
    return "\n".join(head + [f"{v:g}" for plane in planes for v in plane]) + "\n"


def written(folder: Path, name: str, text: str) -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def plane(lobe: object, c: float) -> list[float]:
    return list(lobe.relative[list(lobe.c_deg).index(c)])


@pytest.mark.identity
@pytest.mark.parametrize(
    "header", ["IESNA91", "IESNA:LM-63-1995", "IESNA:LM-63-2002", "IES:LM-63-2019", "made in 1986"]
)
def test_one_plane_is_round_under_every_header(tmp_path, header):
    """A single plane stands for the whole turn, whatever the edition."""
    lobe = read_photometric(written(tmp_path, "a.ies", ies({0: (100, 80, 30, 0)}, header)), "a.ies")
    assert list(lobe.c_deg) == [0, 360]
    assert list(lobe.gamma_deg) == list(GAMMAS)
    assert plane(lobe, 0) == plane(lobe, 360) == [100, 80, 30, 0]


@pytest.mark.identity
def test_a_quarter_is_mirrored_twice(tmp_path):
    """Planes of 0 to 90 deg stand in all four quarters."""
    given = {0: (9, 8, 7, 0), 45: (9, 5, 4, 0), 90: (9, 3, 2, 0)}
    lobe = read_photometric(written(tmp_path, "a.ies", ies(given)), "a.ies")
    assert list(lobe.c_deg) == [0, 45, 90, 135, 180, 225, 270, 315, 360]
    for c in lobe.c_deg:
        folded = min(c % 180, 180 - c % 180)
        assert plane(lobe, c) == list(given[folded])


@pytest.mark.identity
@pytest.mark.parametrize("first", [0, 90])
def test_a_half_is_mirrored_at_its_own_plane(tmp_path, first):
    """Half a turn is mirrored at the plane where it starts and ends, 0-180 or 90-270."""
    given = {first + c: (9, 9 - c / 60, 1, 0) for c in (0, 60, 90, 180)}
    lobe = read_photometric(written(tmp_path, "a.ies", ies(given)), "a.ies")
    for c, row in given.items():
        mirrored = (2 * first - c) % 360
        assert plane(lobe, c) == list(row)
        assert plane(lobe, mirrored) == list(row)


@pytest.mark.identity
def test_a_whole_turn_stays_as_it_is(tmp_path):
    """Nothing is mirrored where every plane is given; a missing last plane is the first."""
    given = {c: (9, 8, c / 90 + 1, 0) for c in (0, 90, 180, 270, 360)}
    given[360] = given[0]
    whole = read_photometric(written(tmp_path, "a.ies", ies(given)), "a.ies")
    del given[360]
    short = read_photometric(written(tmp_path, "b.ies", ies(given)), "b.ies")
    assert np.array_equal(whole.c_deg, short.c_deg)
    assert np.array_equal(whole.relative, short.relative)
    assert plane(whole, 270) == [9, 8, 4, 0]


@pytest.mark.identity
def test_light_above_the_horizon_is_left_out(tmp_path):
    """Only the lower half space stays, with a node at 90 deg where the file jumps over it."""
    text = ies({0: (100, 80, 40, 20)}).replace("0 30 60 90", "0 60 80 100")
    lobe = read_photometric(written(tmp_path, "a.ies", text), "a.ies")
    assert list(lobe.gamma_deg) == [0, 60, 80, 90]
    assert plane(lobe, 0) == [100, 80, 40, 30]


@pytest.mark.identity
@pytest.mark.parametrize("symmetry", [0, 1, 2, 3, 4])
def test_eulumdat_symmetries_write_out_the_same_lobe(tmp_path, symmetry):
    """A lobe with both symmetries reads alike from every kind of file that may hold it."""
    by_c = {
        c: (9.0, 6.0 if symmetry == 1 else 6 - min(c % 180, 180 - c % 180) / 30, 1.0, 0.0)
        for c in range(0, 360, 30)
    }
    held = {0: range(0, 360, 30), 1: [0], 2: range(0, 181, 30), 3: [*range(270, 360, 30), *range(0, 91, 30)]}
    held[4] = range(0, 91, 30)
    text = ldt(symmetry, 30, [by_c[c] for c in held[symmetry]])
    lobe = read_photometric(written(tmp_path, "a.ldt", text), "a.ldt")
    for c in lobe.c_deg:
        assert plane(lobe, c) == list(by_c[c % 360])


@pytest.mark.identity
def test_eulumdat_symmetry_three_is_mirrored_across(tmp_path):
    """Symmetry at the plane C 90-270 puts C 0 and C 180 alike, not C 90 and C 270."""
    rows = [(9.0, c, 1.0, 0.0) for c in (270, 0, 90)]
    lobe = read_photometric(written(tmp_path, "a.ldt", ldt(3, 90, rows)), "a.ldt")
    assert {c: plane(lobe, c)[1] for c in lobe.c_deg} == {0: 0, 90: 90, 180: 0, 270: 270, 360: 0}


@pytest.mark.published
def test_numbers_agree_with_photompy(tmp_path):
    """A quarter-symmetric IES file gives the candela that a general-purpose reader gives."""
    # Source: package photompy (MIT), IESFile.
    photompy = pytest.importorskip("photompy", reason="photompy is not installed")
    given = {0: (9, 8, 7, 0), 45: (9, 5, 4, 0), 90: (9, 3, 2, 0)}
    path = written(tmp_path, "a.ies", ies(given, "IESNA:LM-63-2002"))
    lobe = read_photometric(path, "a.ies")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = photompy.IESFile.read(path).photometry.expanded()
        for c in (0, 45, 90, 135, 225, 300):
            for gamma in (0, 30, 60):
                ours = np.interp(c, lobe.c_deg, lobe.relative[:, list(lobe.gamma_deg).index(gamma)])
                assert float(theirs.get_intensity(gamma, c)) == pytest.approx(ours, rel=1e-9)


@pytest.mark.published
@pytest.mark.parametrize("symmetry", [0, 2, 3, 4])
def test_numbers_agree_with_eulumdat_py(tmp_path, symmetry):
    """The planes written out are those of a general-purpose reader."""
    # Source: package eulumdat-py (MIT), LdtReader.
    pyldt = pytest.importorskip("pyldt", reason="eulumdat-py is not installed")
    counts = {0: 4, 2: 3, 3: 3, 4: 2}
    rows = [(9.0, 8.0 - i, 1.0, 0.0) for i in range(counts[symmetry])]
    path = written(tmp_path, "a.ldt", ldt(symmetry, 90, rows))
    lobe = read_photometric(path, "a.ldt")
    theirs = pyldt.LdtReader.read(str(path))
    assert np.array_equal(np.array(theirs.intensities), lobe.relative[:-1])


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("name", "text", "line", "words"),
    [
        ("a.ies", ies({0: (1, 1, 1, 0)}, tilt="INCLUDE"), 4, "measured tilted"),
        ("a.ies", ies({0: (1, 1, 1, 0)}).replace(" 1 1 2 ", " 1 2 2 "), 5, "type B"),
        ("a.ies", ies({0: (1, 1, 1, 0)}).replace("0 30 60 90", "0 60 30 90"), 7, "do not increase"),
        ("a.ies", ies({0: (1, 1, 1, 0)}).replace("0 30 60 90", "90 100 120 180"), 7, "start at 90 deg"),
        ("a.ies", ies({0: (1, 1, 1, 0)}).replace("1 1 1 0", "1 1"), 9, "ends at 2 of 4 numbers"),
        ("a.ies", ies({0: (1, 1, 1, 0)}).replace("1 1 1 0", "1 x 1 0"), 9, "'x' stands where"),
        ("a.ies", ies({0: (1, 1, -1, 0)}), 9, "an intensity is negative, -1"),
        ("a.ldt", ldt(1, 90, [(1, -2, 1, 0)]), 52, "an intensity is negative, -2"),
        ("a.ies", "IESNA91\n[TEST]\n", 2, "ends before its line TILT="),
        ("a.ies", ies({0: (1, 1, 1, 0), 60: (1, 1, 1, 0)}), 8, "from 0 to 60 deg"),
        ("a.ldt", ldt(7, 90, [(1, 1, 1, 0)]), 3, "7 stands for the symmetry"),
        ("a.ldt", ldt(4, 90, [(1, 1, 1, 0)]), 54, "ends before a luminous intensity"),
        ("a.ldt", "nobody\nx\n", 2, "'x' stands where the type of light"),
    ],
)
def test_broken_file_names_its_line(tmp_path, name, text, line, words):
    """One problem, with the line where reading stopped."""
    with pytest.raises(SetupError) as caught:
        read_photometric(written(tmp_path, name, text), name)
    (problem,) = caught.value.problems
    assert words in problem.found
    assert problem.place is not None
    assert (problem.place.file, problem.place.line) == (name, line)


@pytest.mark.pinned
def test_other_ending_and_missing_file_are_refused(tmp_path):
    """The two formats are told by their endings; a missing file is named."""
    with pytest.raises(SetupError, match=r"has the ending '\.txt'"):
        read_photometric(tmp_path / "beam.txt", "beam.txt")
    with pytest.raises(SetupError, match="there is no such file"):
        read_photometric(tmp_path / "beam.ies", "beam.ies")


@pytest.mark.pinned
def test_light_that_only_goes_up_is_refused(tmp_path):
    """A lobe without light below the horizon lights nothing here."""
    text = ies({0: (0, 0, 0, 0)})
    with pytest.raises(SetupError, match="no light goes down"):
        read_photometric(written(tmp_path, "a.ies", text), "a.ies")
