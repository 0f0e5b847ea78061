"""`lightdose groups`: blocks for people, one record a line for pipes, JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from answers.printed import on_terminal, piped
from click.testing import CliRunner

from lightdose.answers.library import groups_answer
from lightdose.cli import cli
from lightdose.files.groups_file import default_groups

GROUPS, SOURCES = default_groups()


@pytest.mark.identity
@pytest.mark.parametrize("width", [40, 80, 100])
def test_list_fits_the_terminal_and_holds_all(width: int) -> None:
    """No line is wider than the terminal, and every group, genus and source is there, in ASCII."""
    lines = on_terminal(groups_answer(GROUPS, SOURCES).blocks, width)
    assert max(map(len, lines)) <= width
    text = " ".join(line.strip() for line in lines)
    assert text.isascii()
    for key, group in GROUPS.items():
        assert key in text
        assert all(genus in text for genus in group.genera)
    assert all(f"- {key}:" in text for key in SOURCES)
    assert "common practice of the trade, no published source" in text


@pytest.mark.pinned
def test_group_reads_as_agreed() -> None:
    """Today's wording of one group."""
    lines = piped(groups_answer({"mushroom": GROUPS["mushroom"]}, {}).blocks)
    start = lines.index("mushroom: mushroom corals (grade D)")
    assert lines[start + 1 : start + 8] == [
        "- usual 1-3.2 mol/m2/day (far below under 0.5, far above over 8)",
        "- midday 30-100 umol/m2/s",
        "- look: flat soft discs without a skeleton",
        "- genera Discosoma, Rhodactis, Amplexidiscus, Paradiscosoma",
        "- saturates from 40-150 umol/m2/s: assumed",
        "- evidence: no usual amount is published; studies are known from memory only, not quoted: M3",
        "- sources CP, M3",
    ]


@pytest.mark.identity
def test_json_is_one_object() -> None:
    """`--json` prints the versioned object and nothing else."""
    result = CliRunner().invoke(cli, ["groups", "--json"])
    assert result.exit_code == 0
    assert json.loads(result.output)["format"] == "lightdose-groups/1"


@pytest.mark.identity
def test_own_groups_of_a_file_are_listed_last(tmp_path: Path) -> None:
    """`--groups FILE` adds the keeper's groups, with names that show literally."""
    mine = tmp_path / "my-groups.toml"
    mine.write_text(
        '[group."my [x]"]\nlike = "soft"\nname = "[/] kept"\nsource = "records"\n', encoding="utf-8"
    )
    result = CliRunner().invoke(cli, ["groups", "--groups", str(mine)])
    assert result.exit_code == 0
    lines = result.output.splitlines()
    heads = [line for line in lines if "(grade " in line]
    assert heads[-1].startswith("my [x]: [/] kept (grade ")
    assert "- sources records" in lines[lines.index(heads[-1]) :]


@pytest.mark.identity
def test_slip_in_own_groups_ends_in_2_with_its_place(tmp_path: Path) -> None:
    """The file, line and column are named, and nothing is listed."""
    mine = tmp_path / "my-groups.toml"
    mine.write_text('[group.a]\nlike = "sotf"\n', encoding="utf-8")
    result = CliRunner().invoke(cli, ["groups", "--groups", str(mine)])
    assert result.exit_code == 2
    assert f"{mine}:2:8:" in result.output
    assert "did you mean soft?" in result.output


@pytest.mark.identity
def test_json_holds_every_group_with_full_citations() -> None:
    """One versioned object that survives a round trip, without NaN."""
    found = json.loads(CliRunner().invoke(cli, ["groups", "--json"]).output)
    assert found["format"] == "lightdose-groups/1"
    assert [g["group"] for g in found["groups"]] == list(GROUPS)
    shallow = found["groups"][0]
    assert (shallow["band_dli"], shallow["floor_dli"], shallow["ceiling_dli"]) == ([8, 15], 4, 30)
    assert shallow["sources"] == [SOURCES[key] for key in GROUPS["sps-shallow"].sources]
    unlit = next(g for g in found["groups"] if g["group"] == "non-photosynthetic")
    assert unlit["band_dli"] is None


@pytest.mark.identity
@pytest.mark.parametrize("word", ["staghorn", "Acropora", "sps-shallow", "Acropora millepora"])
def test_name_shows_its_group(word: str) -> None:
    """A group, a genus, a species or a trade name: that group with its band, sources and names."""
    found = json.loads(CliRunner().invoke(cli, ["groups", word, "--json"]).output)
    (group,) = found["groups"]
    assert (group["group"], group["band_dli"]) == ("sps-shallow", [8, 15])
    assert "staghorn" in group["names"]
    assert found["asked"]["known"] == word.removesuffix(" millepora")
    assert list(found["sources"]) == list(GROUPS["sps-shallow"].sources)


@pytest.mark.identity
def test_name_of_several_groups_lists_them() -> None:
    """`groups lps` answers with each of them and says so."""
    result = CliRunner().invoke(cli, ["groups", "lps"])
    assert result.exit_code == 0
    assert result.output.startswith("lps: a trade name for any of these 7 groups; choose by looks\n")
    assert result.output.count("(grade ") == 7


@pytest.mark.identity
def test_path_is_a_setup_and_a_word_a_name(tmp_path: Path) -> None:
    """What ends in .toml, has a slash or is there is read as a setup; other words never are."""
    for path in ("none.toml", "none/here", str(tmp_path / "none")):
        result = CliRunner().invoke(cli, ["groups", path])
        assert (result.exit_code, "no coral is known" in result.output) == (2, False)
    result = CliRunner().invoke(cli, ["groups", "Acropra"])
    assert result.exit_code == 2
    assert 'no coral is known as "Acropra"' in result.output
    assert "did you mean Acropora?" in result.output


@pytest.mark.identity
def test_own_groups_answer_for_their_names(tmp_path: Path) -> None:
    """With --groups, a genus that is claimed there shows the keeper's group."""
    mine = tmp_path / "my-groups.toml"
    mine.write_text('[group.mine]\nlike = "soft"\ngenera = ["Acropora"]\n', encoding="utf-8")
    result = CliRunner().invoke(cli, ["groups", "staghorn", "--groups", str(mine), "--json"])
    assert [g["group"] for g in json.loads(result.output)["groups"]] == ["mine"]


@pytest.mark.identity
def test_own_numbers_stand_under_no_other_name(tmp_path: Path) -> None:
    """Grade own, no trial of another group, the own source, and no heading without anything below it."""
    path = tmp_path / "my-groups.toml"
    path.write_text(
        '[group.shaded]\nname = "from the shelf"\nlike = "sps-plating"\ngenera = ["Acropora"]\n'
        'dli_band = [3, 6]\nsource = "our own records"\n',
        encoding="utf-8",
    )
    done = CliRunner().invoke(cli, ["groups", "--groups", str(path), "staghorn"])
    assert done.exit_code == 0, done.stderr
    assert "shaded: from the shelf (grade own)" in done.stdout
    assert "sources our own records" in done.stdout
    assert not any(words in done.stdout for words in ("evidence:", "harm below:", "trial", "\nSources"))
