"""Words such as "ridge=rock top" to pairs of places in two tanks."""

from __future__ import annotations

from collections.abc import Sequence

from lightdose.errors import Place, Problem, SetupError
from lightdose.judge.earlier_light import suggestion
from lightdose.model.matching import PlacePair
from lightdose.model.results import Analysis

SHOWN = 12


def place_pairs(here: Analysis, there: Analysis, words: Sequence[str]) -> tuple[PlacePair, ...]:
    """The places that each word names: a site, or a coral, which stands for the place it is judged at.

    Parameters
    ----------
    here, there : Analysis
    words : sequence of str
        HERE=THERE; a name may hold "=" itself where only one way to part the word gives known names.

    Returns
    -------
    tuple of PlacePair

    Raises
    ------
    SetupError
        With every word that names no pair, and the near names.

    Source
    ------
    Our wording; likeness by the standard library's difflib.
    """
    known_here, known_there = _places(here), _places(there)
    pairs: list[PlacePair] = []
    problems: list[Problem] = []
    if not words:
        problems.append(
            Problem("no pair of places is named", cure='name one: --pair "ridge=rock top", HERE=THERE')
        )
    for word in words:
        ways = [(word[:i].strip(), word[i + 1 :].strip()) for i, c in enumerate(word) if c == "="]
        fitting = [(a, b) for a, b in ways if a in known_here and b in known_there]
        if not ways:
            problems.append(Problem(f'--pair "{word}" is not HERE=THERE', cure='write "ridge=rock top"'))
        elif len(fitting) != 1:
            one, two = ways[0]
            problems += [
                *_unknown(word, one, known_here, here),
                *_unknown(word, two, known_there, there),
            ] or [Problem(f'--pair "{word}" can be read in {len(fitting)} ways', cure="rename a place")]
        else:
            one, two = fitting[0]
            pairs.append(PlacePair(one, two, known_here[one], known_there[two]))
    doubled = {p.there for p in pairs if sum(q.there == p.there for q in pairs) > 1}
    problems += [
        Problem(f"{name!r} is to match several places", cure="name it in one pair")
        for name in sorted(doubled)
    ]
    if problems:
        raise SetupError(*problems)
    return tuple(pairs)


def _places(analysis: Analysis) -> dict[str, int]:
    """Receiver by the name of a coral or a site; a site goes before a coral of its name."""
    receivers = {v.coral: v.receiver for v in analysis.verdicts}
    receivers |= {site.name: i for i, site in enumerate(analysis.setup.sites) if not site.implicit}
    return receivers


def _unknown(word: str, name: str, known: dict[str, int], analysis: Analysis) -> list[Problem]:
    if name in known:
        return []
    shown = ", ".join(list(known)[-SHOWN:]) or "none"
    return [
        Problem(
            f'--pair "{word}": there is no place {name!r}',
            f"sites and corals such as {shown}",
            suggestion(name, list(known)),
            Place(analysis.setup.path),
        )
    ]
