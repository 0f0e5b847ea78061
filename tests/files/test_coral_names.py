"""Words that mean corals: the shipped table, and what a word is read as."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

from lightdose.errors import SetupError
from lightdose.files.coral_names import NAMES_FILE, CoralNames, folded, group_named, looks
from lightdose.files.groups_file import default_groups, read_own_groups, with_own_groups
from lightdose.files.setup_file import read_setup
from lightdose.files.toml_tables import suggestion

WriteSetup = Callable[..., Path]

TABLE = tomllib.loads(NAMES_FILE.read_text(encoding="utf-8"))
GROUPS, _ = default_groups()
NAMES = CoralNames(GROUPS)
PRACTICE = "common practice, no published source"
GENERA = [genus for block in TABLE["genera"] for genus in block["names"]]
SYNONYMS = {older: genus for block in TABLE["synonyms"] for older, genus in block["names"].items()}
PLAIN = TABLE["plain"]["names"]
ONCE_UNKNOWN = {
    "Symphyllia": ("open-brain", "Lobophyllia"),
    "plate coral": ("open-brain", None),
    "staghorn": ("sps-shallow", "Acropora"),
    "clove polyps": ("star-polyp", "Clavularia"),
    "rock flower anemone": ("anemone", None),
    "Favia": ("brain-encrusting", "Favia"),
    "Fimbriaphyllia": ("lps-branching", "Fimbriaphyllia"),
    "Acanthastrea": ("button", "Acanthastrea"),
    "Scolymia": ("button", "Scolymia"),
    "Echinopora": ("low-light-plating", "Echinopora"),
    "Lobophytum": ("soft", "Lobophytum"),
    "Heteractis": ("anemone", "Heteractis"),
    "Heliofungia": ("open-brain", "Heliofungia"),
}
"""Names that 0.1.0 did not know: group and accepted genus, the group from memory of what the trade does."""


@pytest.mark.identity
def test_table_is_large_and_every_entry_has_a_source() -> None:
    """At least 120 genera and 80 plain names; literature, or said to be from memory; practice said so."""
    assert len(GENERA) >= 120
    assert len(PLAIN) >= 80
    for block in (*TABLE["genera"], *TABLE["synonyms"]):
        source = block["source"]
        assert source.startswith("from memory") or any(year in source for year in map(str, range(1990, 2026)))
    assert TABLE["plain"]["source"] == PRACTICE


@pytest.mark.identity
def test_no_name_stands_twice() -> None:
    """Nor as a plural, in other capitals, or beside the key of another group."""
    words = [folded(word) for word in (*GENERA, *SYNONYMS, *PLAIN)]
    assert len(words) == len(set(words))
    for key in GROUPS.keys() & set(words):
        assert [g.key for g in NAMES.known[key].groups] == [key]


@pytest.mark.identity
def test_every_name_means_shipped_groups() -> None:
    """Genera lie in a group, older names lead to a genus, plain names to a genus or to groups."""
    assert {block["group"] for block in TABLE["genera"]} == set(GROUPS)
    assert set(SYNONYMS.values()) <= set(GENERA)
    for meant in PLAIN.values():
        if isinstance(meant, list):
            assert len(meant) > 1
            assert set(meant) <= set(GROUPS)
        else:
            assert meant in GROUPS or meant in GENERA
    assert all(group.look for group in GROUPS.values())


@pytest.mark.identity
@pytest.mark.parametrize(
    ("word", "how", "key", "genus"),
    [
        ("sps-shallow", "group", "sps-shallow", None),
        ("SPS shallow", "group", "sps-shallow", None),
        ("acropora", "genus", "sps-shallow", "Acropora"),
        ("Acropora millepora", "genus", "sps-shallow", "Acropora"),
        ("Acróporas", "genus", "sps-shallow", "Acropora"),
        ("Symphyllia agaricia", "synonym", "open-brain", "Lobophyllia"),
        ("Pseudopterogorgia", "synonym", "gorgonian", "Antillogorgia"),
        ("Clove-Polyps", "plain name", "star-polyp", "Clavularia"),
        ("STAGHORN CORALS", "plain name", "sps-shallow", "Acropora"),
        ("bird\u2019s nest", "plain name", "sps-plating", "Seriatopora"),
        ("birds nest coral", "plain name", "sps-plating", "Seriatopora"),
        ("velvet", "plain name", "sps-plating", "Montipora"),
        ("mushrooms", "group", "mushroom", None),
    ],
)
def test_word_is_read_whatever_its_form(word: str, how: str, key: str, genus: str | None) -> None:
    """Capitals, accents, hyphens, a plural s, the word coral and a species make no difference."""
    name = NAMES.find(word)
    assert name is not None
    assert (name.how, name.group.key, name.genus) == (how, key, genus)


@pytest.mark.identity
@pytest.mark.parametrize(
    "word", ["", "coral", "alcicornis", "staghorn millepora", "\u73ca\u745a", "s", "-", "'"]
)
def test_what_is_not_known_is_not_guessed(word: str) -> None:
    """A species without its genus, an empty word, a word of another script."""
    assert NAMES.find(word) is None


@pytest.mark.identity
@pytest.mark.parametrize("word", ["brain coral", "LPS", "soft corals", "Millepora"])
def test_name_of_several_groups_asks(word: str) -> None:
    """The candidates by their looks; none is taken."""
    name = NAMES.find(word)
    assert name is not None
    with pytest.raises(SetupError) as caught:
        group_named(word, GROUPS)
    (problem,) = caught.value.problems
    assert f"may be any of {len(name.groups)} groups" in problem.found
    assert problem.allowed == looks(name.groups)


@pytest.mark.identity
def test_unknown_name_lists_groups_by_looks_once() -> None:
    """The first unknown name gets every look; a near spelling is offered, never taken; one inside is too."""
    names = CoralNames(GROUPS)

    def refused(word: str) -> tuple[str, str]:
        with pytest.raises(SetupError) as caught:
            names.one(word, suggestion)
        return caught.value.problems[0].allowed, caught.value.problems[0].cure

    assert refused("Acropra")[1] == "did you mean Acropora?"
    assert refused("Acropra millepora")[1] == "did you mean Acropora?"
    assert refused("green hammer, small")[1] == "did you mean hammer?"
    assert "stiff branches or tables with small polyps: sps-shallow" in refused("zzz")[0]
    assert all(group.look in looks(GROUPS.values()) for group in GROUPS.values())
    assert len(refused("yyy")[0]) < 80


@pytest.mark.identity
def test_own_groups_win_also_for_names_that_mean_a_genus(tmp_path: Path) -> None:
    """What a keeper's group claims takes older and trade names along; the other names stay."""
    path = tmp_path / "my-groups.toml"
    path.write_text(
        '[group.mine]\nlike = "sps-plating"\ngenera = ["acropora", "Lobophyllia", "torch"]\n',
        encoding="utf-8",
    )
    names = CoralNames(with_own_groups(GROUPS, read_own_groups(path, "my-groups.toml", GROUPS)))
    read = {
        word: names.one(word, suggestion).group.key for word in ("staghorn", "Symphyllia", "torch", "hammer")
    }
    assert read == {"staghorn": "mine", "Symphyllia": "mine", "torch": "mine", "hammer": "lps-branching"}


@pytest.mark.identity
@pytest.mark.parametrize("word", ONCE_UNKNOWN)
def test_names_are_read_in_every_place(word: str, write_setup: WriteSetup) -> None:
    """As group and as genus, in setup.toml and in corals.csv; what is no accepted genus is told."""
    key, genus = ONCE_UNKNOWN[word]
    site = '[[site]]\nname = "ridge"\nat = { x = "40 cm", y = "20 cm", depth = "10 cm" }\n'
    corals = "".join(
        f'[[coral]]\nname = "{column}"\n{column} = "{word}"\nsite = "ridge"\n'
        for column in ("group", "genus")
    )
    rows = f"coral,group,genus,site\nc,{word},,ridge\nd,,{word},ridge\n"
    path = write_setup(site + corals, corals__csv=rows)
    path.write_text('corals = "corals.csv"\n' + path.read_text())
    setup = read_setup(path)
    assert [(c.group, c.genus) for c in setup.corals] == [(key, genus)] * 4
    told = [line for line in setup.understood if ": read as " in line]
    name = NAMES.find(word)
    assert name is not None
    assert told == ([] if name.how == "genus" else [name.said])
    assert name.how == "genus" or told[0].endswith(GROUPS[key].name)


@pytest.mark.identity
def test_species_stays_as_written(write_setup: WriteSetup) -> None:
    """What stands behind an accepted genus is kept for the keeper's own files."""
    site = '[[site]]\nname = "ridge"\nat = { x = "40 cm", y = "20 cm", depth = "10 cm" }\n'
    coral = '[[coral]]\nname = "a"\ngroup = "Zoanthus sociatus"\nsite = "ridge"\n'
    setup = read_setup(write_setup(site + coral))
    assert (setup.corals[0].group, setup.corals[0].genus) == ("zoanthid", "Zoanthus sociatus")
