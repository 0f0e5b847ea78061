"""Names of files made from names that people gave."""

from __future__ import annotations

import pytest

from lightdose.files.writing import file_names


@pytest.mark.published
@pytest.mark.parametrize("name", ["con", "NUL", "nul.csv", "Com1.x.y", "LPT\u00b9", "aux.", ".prn"])
def test_name_of_a_device_is_no_file_name(name: str) -> None:
    """Windows opens the device for such a name whatever follows its first dot; none is handed out."""
    # Source: Microsoft, "Naming Files, Paths, and Namespaces".
    made = file_names([name], ".csv")[0].split(".")[0].lower()
    assert made.endswith("-1"), made


@pytest.mark.identity
def test_names_that_differ_in_what_files_cannot_hold_get_files_of_their_own() -> None:
    """Path separators, capitals and steering letters become hyphens, and no file is written twice."""
    made = file_names(["a/b", "A\\B", "a\x1bb", "../a b", "..", "", "/"], ".csv")
    assert len({name.lower() for name in made}) == len(made)
    assert all(
        set(name) <= set("abAB-unmed.csv0123456789") and not name.startswith((".", "-")) for name in made
    )
