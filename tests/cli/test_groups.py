"""`lightdose groups`: blocks for people, one record a line for pipes, JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from lightdose.cli import cli
from lightdose.files.groups_file import default_groups
from lightdose.present.group_list import group_blocks

GROUPS, SOURCES = default_groups()


@pytest.mark.identity
def test_piped_list_is_one_record_a_line() -> None:
    """Every group is one line of tab-parted fields, in ASCII, its citations in full."""
    result = CliRunner().invoke(cli, ["groups"])
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert len(lines) == len(GROUPS)
    assert result.output.isascii()
    for line, (key, group) in zip(lines, GROUPS.items(), strict=True):
        fields = line.split("\t")
        assert fields[:3] == [f"group {key}", f"name {group.name}", f"grade {group.grade}"]
        assert fields[-1] == "sources " + "; ".join(SOURCES[s] for s in group.sources)


@pytest.mark.identity
@pytest.mark.parametrize("width", [40, 80, 100])
def test_blocks_fit_the_terminal(width: int) -> None:
    """No line is wider than the terminal, and every group, genus and source is there."""
    lines = list(group_blocks(GROUPS, SOURCES, width))
    assert max(map(len, lines)) <= width
    text = " ".join(line.strip() for line in lines)
    assert text.isascii()
    for key, group in GROUPS.items():
        assert key in text
        assert all(genus in text for genus in group.genera)
    assert all(f"{key}:" in text for key in SOURCES)
    assert "common practice of the trade, no published source" in text


@pytest.mark.pinned
def test_block_reads_as_agreed() -> None:
    """Today's wording of one group on 80 columns."""
    lines = list(group_blocks({"mushroom": GROUPS["mushroom"]}, {}, 80))
    start = lines.index("mushroom: mushroom corals (grade D)")
    assert lines[start + 1 : start + 7] == [
        "    usual 1-3.2 mol/m2/day (far below under 0.5, far above over 8)",
        "    midday 30-100 umol/m2/s",
        "    genera Discosoma, Rhodactis",
        "    saturates from 40-150 umol/m2/s: assumed",
        "    bears on it: nothing numeric published that we know of",
        "    sources CP",
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
    last = result.output.splitlines()[-1].split("\t")
    assert (last[0], last[1], last[-1]) == ("group my [x]", "name [/] kept", "sources records")


@pytest.mark.identity
def test_slip_in_own_groups_ends_in_2_with_its_place(tmp_path: Path) -> None:
    """The file, line and column are named, and nothing is listed."""
    mine = tmp_path / "my-groups.toml"
    mine.write_text('[group.a]\nlike = "sotf"\n', encoding="utf-8")
    result = CliRunner().invoke(cli, ["groups", "--groups", str(mine)])
    assert result.exit_code == 2
    assert f"{mine}:2:8:" in result.output
    assert "did you mean soft?" in result.output
