"""The self-test passes on a sound installation and finds what is broken."""

from __future__ import annotations

import math
import shutil
from pathlib import Path

import pytest

from lightdose.cli.init import example_folder
from lightdose.files import library
from lightdose.model.results import SelfCheck
from lightdose.workflows import selftest
from lightdose.workflows.selftest import self_test


@pytest.mark.identity
def test_sound_installation_passes_with_every_kind_of_check() -> None:
    """Tables, schemas, libraries, published values, identities and recorded doses, each with its source."""
    found = self_test(example_folder())
    assert [check.what for check in found.failed] == []
    kinds = [check.kind for check in found.checks]
    assert {kind: kinds.count(kind) > 2 for kind in set(kinds)} == dict.fromkeys(
        ("published", "identity", "pinned", "installed"), True
    )
    assert all(check.source for check in found.checks)
    assert {"python", "numpy", "scipy", "click"} <= set(found.versions)


@pytest.mark.identity
def test_changed_missing_and_unknown_tables_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One byte more, a file gone, and a file that nobody shipped are three failures."""
    home = tmp_path / "spectra"
    shutil.copytree(library.data_file(), home)
    monkeypatch.setattr(library, "data_file", lambda *parts: home.joinpath(*parts))
    with (home / "water" / "pure_water.csv").open("a", encoding="utf-8") as stream:
        stream.write("\n")
    (home / "illuminants" / "d65.csv").unlink()
    (home / "emitters" / "own.csv").write_text("x", encoding="utf-8")
    failed = {check.what: check.got for check in self_test(example_folder()).failed}
    assert set(failed) == {
        "table water/pure_water.csv", "table illuminants/d65.csv", "table emitters/own.csv",
    }  # fmt: skip
    assert failed["table illuminants/d65.csv"] == "missing"


@pytest.mark.identity
def test_old_library_old_schema_and_broken_example_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each stands in its line; nothing raises."""
    example = tmp_path / "tank"
    shutil.copytree(example_folder(), example)
    (example / "schemas" / "setup.schema.json").write_text("{}", encoding="utf-8")
    (example / "schemas" / "groups.schema.json").unlink()
    (example / "setup.toml").write_text("title = 1", encoding="utf-8")
    rows = [("numpy", "1.26", "1.9"), ("gone", "1", "missing"), ("scipy", "1.12", "1.12.0rc1")]
    monkeypatch.setattr(selftest, "library_versions", lambda: rows)
    failed = {check.what: check.got for check in self_test(example).failed}
    broken = failed.pop("the shipped example")
    assert failed == {
        "editor schema setup.schema.json": "of another version",
        "editor schema groups.schema.json": "missing",
        "library numpy": "1.9",
        "library gone": "missing",
    }
    assert "setup.toml" in str(broken)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("got", "passed"), [(1.0, True), (1.0000009, True), (1.000002, False), (math.nan, False)]
)
def test_number_passes_within_its_tolerance_only(got: float, passed: bool) -> None:
    """The tolerance is relative; what is not a number never passes."""
    assert SelfCheck("x", 1.0, got, "", 1e-6, "published", "made").passed == passed


@pytest.mark.identity
def test_what_is_shipped_besides_spectra_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """A broken one stands in its line with what its reader said; the self-test goes on to its end."""

    def broken() -> None:
        raise KeyError("group")

    monkeypatch.setattr(selftest, "_SHIPPED", {**selftest._SHIPPED, "coral groups": broken})
    found = self_test(example_folder(), {"pages": broken, "printed words": lambda: None})
    failed = {check.what: check.got for check in found.failed}
    assert failed == {"contents coral groups": "KeyError: 'group'", "contents pages": "KeyError: 'group'"}
    assert any(check.what.startswith("the example's dose") for check in found.checks)


@pytest.mark.identity
def test_files_that_differ_from_the_list_of_the_wheel_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every file of the package that the wheel lists is compared, programs and pages too."""
    import base64
    import hashlib
    from importlib import metadata

    names = ("lightdose/present/templates/try_change.js", "lightdose/data/typical_efficiency.csv")
    rows = []
    for name in names:
        path = tmp_path / name
        path.parent.mkdir(parents=True)
        path.write_text("as packed", encoding="utf-8")
        digest = base64.urlsafe_b64encode(hashlib.sha256(b"as packed").digest()).rstrip(b"=").decode()
        rows.append(f"{name},sha256={digest},9\n")
    info = tmp_path / "lightdose-0.1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(
        "Metadata-Version: 2.1\nName: lightdose\nVersion: 0.1.0\n", encoding="utf-8"
    )
    (info / "RECORD").write_text("".join(rows), encoding="utf-8")
    files = metadata.Distribution.at(info).files
    monkeypatch.setattr(metadata, "files", lambda _: files)
    assert [(n, e == g) for n, e, g in library.packed_sums()] == [(name, True) for name in names]
    (tmp_path / names[0]).write_text("as packed;", encoding="utf-8")
    (tmp_path / names[1]).unlink()
    assert {n: g == "missing" for n, e, g in library.packed_sums() if e != g} == {
        names[0]: False,
        names[1]: True,
    }
