"""The shipped coral groups, and a keeper's own."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from lightdose.errors import SetupError
from lightdose.files.groups_file import (
    GRADES,
    NO_SOURCE,
    default_groups,
    own_group_table,
    read_own_groups,
    with_own_groups,
)
from lightdose.model.setup import CoralGroup

GROUPS, SOURCES = default_groups()
PRACTICE = "common practice, no published source"
JUDGED = [key for key, group in GROUPS.items() if group.band_dli is not None]


def own(tmp_path: Path, text: str) -> dict[str, CoralGroup]:
    path = tmp_path / "my-groups.toml"
    path.write_text(text, encoding="utf-8")
    return read_own_groups(path, "my-groups.toml", GROUPS)


def refusal(tmp_path: Path, text: str) -> str:
    with pytest.raises(SetupError) as caught:
        own(tmp_path, text)
    return str(caught.value)


@pytest.mark.pinned
def test_shipped_groups_are_all_there() -> None:
    """Every group in the order of the table, by key."""
    assert list(GROUPS) == [
        "sps-shallow",
        "sps-plating",
        "scroll-merulinid",
        "lps-branching",
        "lps-sand",
        "flowerpot",
        "brain-encrusting",
        "open-brain",
        "button",
        "low-light-plating",
        "mushroom",
        "ricordea",
        "zoanthid",
        "soft",
        "star-polyp",
        "gorgonian",
        "anemone",
        "clam",
        "non-photosynthetic",
    ]


@pytest.mark.identity
@pytest.mark.parametrize("key", GROUPS)
def test_shipped_group_is_sane(key: str) -> None:
    """Every group has a name, a grade, a note, and sources whose citations are shipped, practice first."""
    group = GROUPS[key]
    assert group.key == key
    assert group.name
    assert group.note
    assert group.grade in GRADES
    assert all(source in SOURCES for source in group.sources)
    assert SOURCES[group.sources[0]] == PRACTICE
    assert group.grade in ("D", "n/a") or len(group.sources) > 1


@pytest.mark.identity
@pytest.mark.parametrize("key", JUDGED)
def test_dose_band_is_the_midday_band_times_nine_hours(key: str) -> None:
    """dli_band is peak_band x 0.0324, rounded: within 8 %, the coarsest rounding of the table."""
    group = GROUPS[key]
    assert group.band_dli is not None
    assert group.band_peak is not None
    for dose, midday in zip(group.band_dli, group.band_peak, strict=True):
        assert dose == pytest.approx(midday * 0.0324, rel=0.08)


@pytest.mark.identity
@pytest.mark.parametrize("key", JUDGED)
def test_marks_and_ek_enclose_what_they_should(key: str) -> None:
    """0 < floor < low < high < ceiling; Ek is a rising range with its own source and its own curve."""
    group = GROUPS[key]
    assert group.band_dli is not None
    assert group.floor_dli is not None
    assert group.ceiling_dli is not None
    assert group.ek_range is not None
    assert 0 < group.floor_dli < group.band_dli[0] < group.band_dli[1] < group.ceiling_dli
    assert 0 < group.ek_range[0] < group.ek_range[1]
    assert "assumed" in group.ek_source or "[C]" in group.ek_source
    assert group.ek_model in ("tanh", "webb", "smith")


@pytest.mark.identity
def test_only_floors_with_a_trial_claim_harm() -> None:
    """P2 and P3 stand behind one floor, P21 behind another; every other mark is practice."""
    assert [key for key, group in GROUPS.items() if group.floor_harm] == ["sps-shallow", "sps-plating"]
    assert "Bessell-Browne et al. 2017" in GROUPS["sps-shallow"].floor_harm
    assert "Matsuda et al." in GROUPS["sps-plating"].floor_harm
    assert "feeding not controlled" in GROUPS["sps-plating"].floor_harm


NUMERIC = {
    "sps-shallow": {"P1", "P2", "P3", "P4"},
    "sps-plating": {"P1", "P2", "P5", "P21"},
    "low-light-plating": {"P3", "P27"},
    "soft": {"P14", "P15", "P16", "P22"},
    "clam": {"P25"},
}
"""Sources that tell light in numbers for a genus of the group; the others tell a direction."""


@pytest.mark.identity
@pytest.mark.parametrize("key", JUDGED)
def test_grade_follows_its_rule(key: str) -> None:
    """A: two or more numeric published sources, B: one, C: a direction only, D: practice or memory only."""
    group, numeric = GROUPS[key], NUMERIC.get(key, set())
    published = {source for source in group.sources if source.startswith("P")}
    assert numeric <= published
    grade = ("A" if len(numeric) > 1 else "B") if numeric else ("C" if published else "D")
    assert group.grade == grade


@pytest.mark.identity
@pytest.mark.parametrize("key", JUDGED)
def test_every_source_of_a_group_is_told_in_its_words(key: str) -> None:
    """Each citation stands behind a finding, an Ek or a floor that is said; what memory knows is marked."""
    group = GROUPS[key]
    assert group.note.startswith("no usual amount is published")
    told = f"{group.note} {group.ek_source} {group.floor_harm}"
    for source in group.sources[1:]:
        assert re.search(rf"\b{source}\b", told), source
        assert source[0] == "P" or "from memory" in SOURCES[source]


@pytest.mark.identity
def test_no_genus_means_two_groups() -> None:
    """A genus names its group without doubt."""
    genera = [genus.lower() for group in GROUPS.values() for genus in group.genera]
    assert len(genera) == len(set(genera)) > 40


@pytest.mark.identity
def test_group_without_symbionts_has_no_marks() -> None:
    """Nothing to judge: no bands, no marks, no Ek."""
    group = GROUPS["non-photosynthetic"]
    marks = (group.band_dli, group.band_peak, group.floor_dli, group.ceiling_dli, group.ek_range)
    assert marks == (None,) * 5
    assert group.grade == "n/a"


@pytest.mark.identity
def test_callers_cannot_change_the_shipped_groups() -> None:
    """Each call gives dictionaries of its own."""
    default_groups()[0].clear()
    assert len(default_groups()[0]) == len(GROUPS)


@pytest.mark.identity
def test_missing_keys_come_from_like(tmp_path: Path) -> None:
    """What is not given is that of the other group, save its genera."""
    group = own(tmp_path, '[group.mine]\nlike = "sps-shallow"\nname = "mine"\n')["mine"]
    like = GROUPS["sps-shallow"]
    assert (group.name, group.genera) == ("mine", ())
    assert (group.band_dli, group.band_peak, group.ceiling_dli) == (
        like.band_dli,
        like.band_peak,
        like.ceiling_dli,
    )
    assert (group.sources, group.grade, group.ek_range) == (like.sources, like.grade, like.ek_range)
    assert group.floor_harm


@pytest.mark.identity
def test_own_numbers_without_a_source_say_so(tmp_path: Path) -> None:
    """A changed mark is the keeper's own; a changed floor claims no trial's harm."""
    text = '[group.mine]\nlike = "sps-shallow"\ndli_band = [6, 12]\ndli_floor = 3\nek_range = [150, 300]\n'
    group = own(tmp_path, text)["mine"]
    assert (group.band_dli, group.floor_dli, group.ek_range) == ((6, 12), 3, (150, 300))
    assert group.sources == (NO_SOURCE, *GROUPS["sps-shallow"].sources)
    assert group.ek_source == NO_SOURCE
    assert not group.floor_harm


@pytest.mark.identity
def test_own_numbers_borrow_no_grade_evidence_or_harm(tmp_path: Path) -> None:
    """What was published of another group stands only for the numbers that are taken over from it."""
    like = GROUPS["sps-plating"]
    assert like.grade == "A"
    assert like.note
    assert like.floor_harm
    head = '[group.mine]\nlike = "sps-plating"\n'
    band = own(tmp_path, f'{head}genera = ["Acropora"]\ndli_band = [3, 6]\nsource = "own records"\n')["mine"]
    assert (band.grade, band.note, band.floor_harm) == ("own", "", "")
    assert (band.floor_dli, band.band_peak) == (like.floor_dli, like.band_peak)
    peak = own(tmp_path, f"{head}peak_band = [100, 200]\n")["mine"]
    assert (peak.grade, peak.floor_harm) == ("own", like.floor_harm)
    assert peak.note == f"{like.note}; the keeper's own here: peak_band"
    ceiling = own(tmp_path, f"{head}dli_ceiling = 22\n")["mine"]
    assert (ceiling.grade, ceiling.floor_harm) == (like.grade, like.floor_harm)
    assert ceiling.note.endswith("; the keeper's own here: dli_ceiling")
    stated = own(tmp_path, f'{head}dli_band = [3, 6]\ngrade = "C"\n')["mine"]
    assert (stated.grade, stated.note) == ("C", "")
    above = own(tmp_path, f'{head}dli_band = [3, 6]\n[group.pale]\nlike = "mine"\n')["pale"]
    assert (above.grade, above.note, above.floor_harm) == ("own", "", "")


@pytest.mark.identity
def test_own_source_replaces_all_others(tmp_path: Path) -> None:
    """With a source of its own a group stands on that alone."""
    text = '[group.mine]\nlike = "soft"\ndli_band = [3, 7]\nsource = "own records"\ngrade = "C"\n'
    group = own(tmp_path, text)["mine"]
    assert (group.sources, group.grade) == (("own records",), "C")


@pytest.mark.identity
def test_group_of_its_own_needs_a_name_and_a_band_only(tmp_path: Path) -> None:
    """Without like the rest is unknown: no marks, no source; the band is the keeper's own."""
    group = own(tmp_path, '[group.new]\nname = "new"\ndli_band = [3, 7]\ngenera = ["Acropora"]\n')["new"]
    assert (group.band_peak, group.floor_dli, group.ceiling_dli, group.ek_range) == (None,) * 4
    assert (group.grade, group.sources, group.genera) == ("own", (NO_SOURCE,), ("Acropora",))


@pytest.mark.identity
def test_shipped_key_changes_the_shipped_group(tmp_path: Path) -> None:
    """Any cell may be overridden in place, and a group above in the file may be taken over."""
    groups = own(tmp_path, '[group.mushroom]\ndli_floor = 0.2\n[group.pale]\nlike = "mushroom"\n')
    assert groups["mushroom"].floor_dli == groups["pale"].floor_dli == 0.2
    assert groups["mushroom"].genera == GROUPS["mushroom"].genera
    assert groups["mushroom"].band_dli == GROUPS["mushroom"].band_dli


@pytest.mark.identity
def test_claimed_genus_leaves_its_shipped_group(tmp_path: Path) -> None:
    """With own groups added, a genus still means one group only: the keeper's."""
    mine = own(tmp_path, '[group.mine]\nlike = "sps-plating"\ngenera = ["montipora"]\n')
    merged = with_own_groups(GROUPS, mine)
    assert list(merged) == [*GROUPS, "mine"]
    assert "Montipora" not in merged["sps-plating"].genera
    assert "Porites" in merged["sps-plating"].genera


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        ("colour = 1\n[group.a]\nlike = 'soft'\n", ":1:1:", "the key colour is not known"),
        ("[groups.a]\nlike = 'soft'\n", ":1:2:", "did you mean group?"),
        ("[group.a]\nlike = 'soft'\ndli_bnd = [1, 2]\n", ":3:1:", "did you mean dli_band?"),
        ("[group.a]\nlike = 'sotf'\n", ":2:8:", "did you mean soft?"),
        ("[group.a]\nname = 'x'\n", ":1:1:", "the key dli_band is missing"),
        ("[group.a]\ndli_band = [1, 2]\n", ":1:1:", "the key name is missing"),
        ("[group.a]\nname = 'x'\ndli_band = [5, 2]\n", ":3:12:", "does not rise"),
        ("[group.a]\nname = 'x'\ndli_band = ['5', 7]\n", ":3:12:", "without quotation marks"),
        ("[group.a]\nname = 'x'\ndli_band = 5\n", ":3:12:", "is not a pair of numbers"),
        ("[group.a]\nlike = 'soft'\ndli_floor = true\n", ":3:13:", "true is not a number"),
        ("[group.a]\nlike = 'soft'\ndli_floor = nan\n", ":3:13:", "is not a finite number"),
        ("[group.a]\nlike = 'soft'\ngrade = 'E'\n", ":3:9:", '"A" | "B" | "C" | "D" | "own" | "n/a"'),
        ("[group.a]\nlike = 'soft'\ngenera = 'Xenia'\n", ":3:10:", "a list of names"),
        ("[group.a]\nlike = 'sps-shallow'\ndli_band = [3, 6]\n", ":3:12:", "give dli_floor too"),
        ("[group.a]\nlike = 'soft'\ndli_ceiling = 5\n", ":3:15:", "dli_ceiling 5 is below the high end 8"),
        (
            "[group.a]\nlike = 'soft'\ngenera = ['Xenia']\n[group.b]\nlike = 'soft'\ngenera = ['xenia']\n",
            ":6:11:",
            "xenia already means the group 'a'",
        ),
        ("format = 'lightdose-setup/1'\n[group.a]\nlike = 'soft'\n", ":1:10:", "lightdose-coral-groups/1"),
        ("# nothing here\n", ":1:", "no group stands here"),
        ("group = 3\n", ":1:", "no group stands here"),
        ("[group]\na = 3\n", ":2:5:", "3 is not a table"),
    ],
)
def test_slip_in_own_groups_is_named_at_its_place(tmp_path: Path, text: str, place: str, said: str) -> None:
    """Each mistake gets its line and column and the way to mend it."""
    message = refusal(tmp_path, text)
    assert "my-groups.toml" + place in message
    assert said in message


@pytest.mark.identity
def test_all_problems_of_a_file_come_at_once(tmp_path: Path) -> None:
    """Three slips in three groups are three problems, in file order, counted."""
    text = "[group.a]\nlike = 'sotf'\n[group.b]\nlike = 'soft'\ngrade = 'E'\n[group.c]\nname = 'x'\n"
    message = refusal(tmp_path, text)
    assert message.endswith("3 problems")
    assert message.index(":2:") < message.index(":5:") < message.index(":6:")


@pytest.mark.identity
def test_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    """A missing file is a sentence, not a trace."""
    with pytest.raises(SetupError, match=r"none\.toml: the file cannot be read: no such file"):
        read_own_groups(tmp_path / "none.toml", "none.toml", GROUPS)


@pytest.mark.identity
def test_keys_of_own_groups_are_those_of_the_contract() -> None:
    """No more and no fewer keys than are documented."""
    assert list(own_group_table().keys) == [
        "name",
        "like",
        "genera",
        "dli_band",
        "peak_band",
        "dli_floor",
        "dli_ceiling",
        "ek_range",
        "source",
        "grade",
    ]
