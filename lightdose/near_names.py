"""Names that are spelled nearly like a word: for the cure "did you mean".

A file may hold thousands of misspelt names beside thousands of known ones, and comparing each with each takes
minutes. Among many names only those are compared that share the word's rarest pairs of letters, so that the
work for a word is bounded however many names there are.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Final

FEW: Final = 200
"""Up to so many names all are compared. Our choice, as all that follow."""

PAIRS_LOOKED_AT: Final = 4_000
"""Entries in the lists of names that hold a pair of letters, over all pairs of a word."""

COMPARED: Final = 50
"""Of many names, those that share most pairs of letters."""

LONGEST: Final = 100
"""Letters of a name that count."""


def near_names(word: str, known: Iterable[str], count: int = 1, cutoff: float = 0.6) -> list[str]:
    """Up to ``count`` known names that are spelled nearly like a word, the nearest first.

    Capitals make no difference. ``cutoff`` is the least likeness, 0 to 1, as difflib measures it.
    """
    from difflib import get_close_matches

    names = _spelled(tuple(known))
    small = word.casefold()[:LONGEST]
    compared = list(names.by_small) if len(names.by_small) <= FEW else names.sharing_pairs(small)
    return [names.by_small[near] for near in get_close_matches(small, compared, n=count, cutoff=cutoff)]


def did_you_mean(word: str, known: Iterable[str], count: int = 2, cutoff: float = 0.5) -> str:
    """ "did you mean 'A1' or 'A2'?", or nothing where no known name is near."""
    near = near_names(word, known, count, cutoff)
    return f"did you mean {' or '.join(map(repr, near))}?" if near else ""


class _Spelled:
    """Names by their small letters; of many, also which of them hold a pair of letters."""

    def __init__(self, known: Sequence[str]) -> None:
        self.by_small = {name.casefold()[:LONGEST]: name for name in known}
        self.holding: dict[tuple[str, str], list[str]] = {}
        if len(self.by_small) > FEW:
            for small in self.by_small:
                for pair in _pairs(small):
                    self.holding.setdefault(pair, []).append(small)

    def sharing_pairs(self, small: str) -> list[str]:
        """Names that share most pairs with a word, looked for by the pairs that fewest names hold."""
        lists = sorted((self.holding[pair] for pair in _pairs(small) if pair in self.holding), key=len)
        shared: Counter[str] = Counter()
        left = PAIRS_LOOKED_AT
        for names in lists:
            shared.update(names[:left])
            left -= len(names)
            if left <= 0:
                break
        return [name for name, _ in shared.most_common(COMPARED)]


_spelled = lru_cache(maxsize=8)(_Spelled)
"""Many words are looked for among the same names."""


def _pairs(small: str) -> dict[tuple[str, str], None]:
    """Letters that stand side by side, and the first and the last one; each once, in order."""
    return dict.fromkeys([*pairwise(small), ("", small[:1]), (small[-1:], "")])
