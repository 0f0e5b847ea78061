"""The documents hold what the program prints: sessions run, tables equal the code, everything stands."""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path

import click
import document_tables
import pytest
from document_tables import FIXTURE_TABLES, SETUP_TABLES, TABLES, commands
from make_documents import DOCUMENTS, EXAMPLES, GUIDE, README, ROOT, asked, refreshed

from lightdose.files import fixture_file, places_csv, readings_csv, setup_schema
from lightdose.files.groups_file import default_groups, own_group_table
from lightdose.files.programme_rules import RESERVED_NAMES
from lightdose.files.toml_tables import Table
from lightdose.quantities import BANDS, QUANTITIES

PAGES = {path.stem: path.read_text(encoding="utf-8") for path in GUIDE.glob("*.md")}
TOLD = "python tests/make_documents.py writes them anew"


@pytest.mark.pinned
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
@pytest.mark.parametrize("document", [d for d in DOCUMENTS if d != EXAMPLES], ids=lambda d: d.stem)
def test_document_shows_what_the_program_prints(document: Path, tmp_path: Path) -> None:
    """Its sessions, run in order in an empty folder, and its tables print what stands there."""
    assert refreshed(document, tmp_path) == document.read_text(encoding="utf-8"), TOLD


@pytest.mark.identity
def test_every_table_stands_once_in_the_documents() -> None:
    """No table of the code is left out, and none is told twice."""
    text = "\n".join(document.read_text(encoding="utf-8") for document in DOCUMENTS)
    named = re.findall("^<!-- (.+) -->$", text, re.MULTILINE)
    starts = [name for name in named if f"end of {name}" in named]
    assert sorted(starts) == sorted(TABLES)


@pytest.mark.identity
def test_documents_are_asked_for_by_name_or_path(monkeypatch: pytest.MonkeyPatch) -> None:
    """A bare name, a path from any folder, all for none; what is no document is refused by its word."""
    assert asked(["groups.md"]) == [GUIDE / "groups.md"]
    assert asked(["README.md"]) == [README, EXAMPLES]
    assert asked([str(EXAMPLES)]) == [EXAMPLES]
    monkeypatch.chdir(ROOT / "lightdose")
    assert asked(["guide/groups.md", "../README.md"]) == [README, GUIDE / "groups.md"]
    assert len(asked([])) > len(DOCUMENTS)
    for word in ("grups.md", "tests/groups.md"):
        with pytest.raises(SystemExit, match=f"no document: {word}"):
            asked(["groups.md", word])


def section(name: str) -> str:
    """What stands in the guide between the comments of a table."""
    text = "\n".join(PAGES.values())
    return text.partition(f"<!-- {name} -->\n")[2].partition(f"<!-- end of {name} -->")[0]


@pytest.mark.identity
@pytest.mark.parametrize("tables", [SETUP_TABLES, FIXTURE_TABLES], ids=["setup", "fixture"])
def test_every_key_of_every_table_stands_in_the_guide(tables: dict[str, Table]) -> None:
    """A key of site.at stands as at.x under site; so do those of each form of a spectrum or a beam."""
    for path, table in tables.items():
        top, _, inside = path.partition(" ")[0].partition(".")
        for key in table.keys:
            full = f"{inside}.{key}" if inside else key
            assert f"\n| `{full}` |" in section(f"keys of {top}"), (path, key)


@pytest.mark.identity
def test_every_key_at_the_top_of_a_file_stands_in_the_guide() -> None:
    """Of a setup, a fixture file and own groups."""
    tops = {
        "setup.toml": setup_schema.SETUP,
        "fixture.toml": fixture_file.FIXTURE_FILE,
        "my-groups.toml": own_group_table(),
    }
    for file, table in tops.items():
        assert all(f"\n| `{key}` |" in section(f"keys of {file}") for key in table.keys)


@pytest.mark.identity
def test_every_quantity_band_and_group_stands_in_the_guide() -> None:
    """By the word with which answers name it."""
    assert all(f"| {q.symbol} | {q.unit} |" in section("quantities") for q in QUANTITIES)
    assert all(f"| {band.name} |" in section("bands") for band in BANDS)
    assert all(f"| `{key}` |" in section("coral groups") for key in default_groups()[0])


@pytest.mark.identity
def test_every_command_and_option_stands_in_the_guide() -> None:
    """An option that many share stands with the shared ones and is named by each command that takes it."""
    for name, command in commands().items():
        own = re.split("^##", section("commands").partition(f"\n### {name}\n")[2], flags=re.MULTILINE)[0]
        assert own, name
        words = set(re.split(r"[\s`,/]+", own))
        for option in command.params:
            if isinstance(option, click.Option) and not option.hidden:
                assert set(option.opts) <= words, (name, option.opts)


@pytest.mark.identity
def test_readme_names_every_command() -> None:
    """Who looks for a job finds the command that does it."""
    text = README.read_text(encoding="utf-8")
    assert [name for name in commands() if f"`lightdose {name}" not in text] == []


NO_SIZE_OF_INPUT = {
    "MOST_PROBLEMS": "problems that are shown",
    "MOST_SUGGESTIONS": "misspelt names that get a suggestion",
    "MOST_REPAIRS": "repairs of a broken file that are tried",
    "LONGEST_TYPED": "of a line that is repaired",
    "LONGEST_SHOWN_LINE": "of a line under a message",
    "HASH_LIMIT_BYTES": "larger files are refused by their readers",
    "MOST_ABSORPTION_PER_M": "a check of the unit",
    "MOST_FLUX_UMOL_S": "a check of the unit",
}
"""Constants of files/ and model/ that sound like a limit of size and are none."""


@pytest.mark.identity
def test_every_limit_of_size_stands_in_the_guide() -> None:
    """Each public limit of a reader or a record is used by the table of sizes, or is named above as none."""
    source = Path(document_tables.__file__).read_text(encoding="utf-8")
    used = {node.attr for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)}
    house = ROOT / "lightdose"
    for path in (*(house / "files").glob("*.py"), *(house / "model").glob("*.py")):
        for node in ast.parse(path.read_text(encoding="utf-8")).body:
            targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
            for name in (t.id for t in targets if isinstance(t, ast.Name)):
                if re.match("(HASH_)?LIMIT_|MOST_|LONGEST_", name):
                    assert name in used or name in NO_SIZE_OF_INPUT, f"{path.name}: {name}"


@pytest.mark.identity
def test_guide_names_every_column_of_every_csv() -> None:
    """What the readers know as a column stands in backticks, alone or in a list."""
    known = {*readings_csv.COLUMNS, *places_csv.SITE_COLUMNS, *places_csv.CORAL_COLUMNS, *RESERVED_NAMES}
    spans = re.findall(r"`([^`\n]+)`", "\n".join(PAGES.values()))
    told = {word for span in spans for word in re.split(r"[,\s]+", span)}
    assert known <= told


@pytest.mark.identity
def test_readme_names_two_commands_for_a_fresh_machine_and_leads_to_every_page() -> None:
    """The two commands that `.ci/run` takes are there, and a link to each page of the guide."""
    text = README.read_text(encoding="utf-8")
    for mark in ("<!-- the first command -->", "<!-- the test command -->"):
        assert re.search(re.escape(mark) + r"\n```sh\n\S.*\n```", text), mark
    linked = {Path(target) for target in re.findall(r"\]\(([^)#]+)\)", text)}
    assert {Path("lightdose/guide", f"{topic}.md") for topic in PAGES} <= linked
    assert all((ROOT / target).exists() for target in linked)


@pytest.mark.pinned
def test_readme_is_short() -> None:
    """What is longer belongs into the guide."""
    assert README.read_text(encoding="utf-8").count("\n") <= 300
