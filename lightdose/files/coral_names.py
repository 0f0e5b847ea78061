"""Words for corals: a group, a genus, an older name of a genus, or what the trade calls it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from lightdose.errors import Problem, SetupError
from lightdose.model.setup import CoralGroup, CoralName

NAMES_FILE = Path(__file__).parent.parent / "data" / "coral_names.toml"
NEAR = 0.75
"""How alike a known name must be to be offered; our choice, so that no other coral's name is."""

_BETWEEN_WORDS = re.compile(r"[\W_]+")


@cache
def shipped_names() -> dict[str, Any]:
    """The shipped table of names as it stands: ``genera``, ``synonyms``, ``plain``."""
    return tomllib.loads(NAMES_FILE.read_text(encoding="utf-8"))


def shipped_genera() -> Iterator[tuple[str, str, str]]:
    """Each accepted genus with the key of its group and the source of its name."""
    for block in shipped_names()["genera"]:
        yield from ((genus, block["group"], block["source"]) for genus in block["names"])


def folded(word: str) -> str:
    """A word without what makes no difference: capitals, accents, hyphens, a plural s."""
    if not word.isascii():
        from unicodedata import combining, normalize

        word = "".join(c for c in normalize("NFKD", word) if not combining(c)).replace("\u2019", "")
    parts = _BETWEEN_WORDS.split(word.casefold().replace("'", ""))
    return " ".join(p[:-1] if len(p) > 3 and p[-1] == "s" != p[-2] else p for p in parts if p)


class CoralNames:
    """The words that mean the given groups; what a later group says of a genus holds, so own groups win."""

    def __init__(self, groups: Mapping[str, CoralGroup]) -> None:
        self.groups = groups
        self._looks_shown = False

    @cached_property
    def genera(self) -> dict[str, CoralName]:
        """Every accepted genus, folded, with what it means."""
        cited = {genus: source for genus, _, source in shipped_genera()}
        of_genus = {genus: self.groups[key] for genus, key, _ in shipped_genera() if key in self.groups}
        of_genus |= {genus: group for group in self.groups.values() for genus in group.genera}
        return {
            folded(genus): CoralName(genus, "genus", (group,), genus, cited.get(genus, ""))
            for genus, group in of_genus.items()
        }

    @cached_property
    def known(self) -> dict[str, CoralName]:
        """Every word, folded, with what it means; a word means what it is found as first."""
        shipped, known = shipped_names(), dict(self.genera)
        for key, group in self.groups.items():
            known.setdefault(folded(key), CoralName(key, "group", (group,)))
        for block in shipped["synonyms"]:
            for older, genus in block["names"].items():
                if (meant := known.get(folded(genus))) is not None:
                    name = replace(meant, known=older, how="synonym", source=block["source"])
                    known.setdefault(folded(older), name)
        source = shipped["plain"]["source"]
        for word, said in shipped["plain"]["names"].items():
            keys = [said] if isinstance(said, str) else said
            groups, genus = tuple(self.groups[key] for key in keys if key in self.groups), None
            if not groups and (meant := known.get(folded(keys[0]))) is not None:
                groups, genus = meant.groups, meant.genus
            if groups:
                known.setdefault(folded(word), CoralName(word, "plain name", groups, genus, source))
        return known

    def find(self, word: str) -> CoralName | None:
        """What a word means: a species by its genus; None where it is not known."""
        if (group := self.groups.get(word)) is not None:
            return CoralName(word, "group", (group,))
        small = folded(word)
        if (found := self.genera.get(small)) is not None:
            return found
        for same in (small, small.removesuffix(" coral"), f"{small} coral"):
            if same in self.known:
                return self.known[same]
        genus = self.known.get(small.partition(" ")[0])
        return genus if genus is not None and genus.how in ("genus", "synonym") else None

    def one(self, word: str, suggest: Callable[..., str], asked: str = "") -> CoralName:
        """What a word means, where that is one group.

        Parameters
        ----------
        word : str
        suggest : makes "did you mean" of a word, known names, their number and likeness
        asked : what stands before the word in a message

        Raises
        ------
        SetupError
            If it is unknown, with near names or the looks of the groups; or if it fits several groups.
        """
        from lightdose.files.toml_tables import show

        name = self.find(word)
        if name is None:
            cure = self._cure(word, suggest)
            allowed = "a group, a genus or a trade name; `lightdose groups` lists them"
            if not cure and not self._looks_shown:
                self._looks_shown = True
                allowed = f"a group, a genus or a trade name; by looks: {looks(self.groups.values())}"
            cure = cure or "name the group that looks like it"
            raise SetupError(Problem(f"{asked}no coral is known as {show(word)}", allowed, cure))
        if len(name.groups) > 1:
            found = f"{asked}{show(word)} may be any of {len(name.groups)} groups"
            raise SetupError(Problem(found, looks(name.groups), "name one of them"))
        return name

    def _cure(self, word: str, suggest: Callable[..., str]) -> str:
        """A near name, or one that stands among the words ("green torch"), or one near the first word."""
        known = [name.known for name in self.known.values()]
        first, blank, _ = word.partition(" ")
        parts = folded(word).split()[:8]
        ends = ((a, b) for a in range(len(parts)) for b in range(len(parts), a, -1))
        inside = (self.known.get(" ".join(parts[a:b])) for a, b in ends)
        return (
            suggest(word, known, 1, NEAR)
            or next((f"did you mean {name.known}?" for name in inside if name and len(name.groups) == 1), "")
            or (suggest(first, known, 1, NEAR) if blank else "")
        )

    def listed(self) -> dict[str, CoralGroup]:
        """The groups, each with the older and trade names that mean it, alone or among others."""
        names: dict[str, list[str]] = {key: [] for key in self.groups}
        for name in self.known.values():
            for group in name.groups if name.how in ("synonym", "plain name") else ():
                names[group.key].append(name.known)
        return {key: replace(group, names=tuple(names[key])) for key, group in self.groups.items()}


def looks(groups: Iterable[CoralGroup]) -> str:
    """Groups by what they look like: "stiff branches or tables with small polyps: sps-shallow; ..."."""
    return "; ".join(f"{group.look or group.name}: {group.key}" for group in groups)


def group_named(word: str, groups: Mapping[str, CoralGroup], option: str = "--group") -> CoralName:
    """The group that a word means: its key, a genus, an older or a trade name.

    Raises
    ------
    SetupError
        If there is none, or several.
    """
    from lightdose.files.toml_tables import suggestion

    return CoralNames(groups).one(word, suggestion, f"{option}: ")
