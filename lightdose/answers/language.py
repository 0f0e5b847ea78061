"""The language of printed pages: words from gettext catalogues, numbers, units and dates as they go with it.

English stands in the code; the others in ``lightdose/languages``: KEY.po for people, KEY.mo made of it by
``tests/make_languages.py``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib.resources import files
from typing import Any, Final

from lightdose.answers.words import PPFD_UNIT_TYPESET, number
from lightdose.model.record import dataclass

LANGUAGES: Final = {
    "en": "English",
    "de": "Deutsch",
    "fr": "français",
    "es": "español",
    "it": "italiano",
    "nl": "Nederlands",
}
"""Keys by ISO 639-1, and what each calls itself."""

UNIT_GAP: Final = "\u00a0"


def mark(text: str) -> str:
    """The text itself; it stands in the catalogues, and ``Language.say`` translates it where it is shown."""
    return text


MONTHS: Final = (
    mark("January"),
    mark("February"),
    mark("March"),
    mark("April"),
    mark("May"),
    mark("June"),
    mark("July"),
    mark("August"),
    mark("September"),
    mark("October"),
    mark("November"),
    mark("December"),
)


@dataclass(frozen=True, eq=False)
class Language:
    """One language; ``key`` is of ``LANGUAGES``. A text that no catalogue has stays English."""

    key: str
    catalogue: NullTranslations

    def say(self, text: str, **values: Any) -> str:
        """A text in this language, with the values that it names in braces."""
        said = self.catalogue.gettext(text)
        return said.format(**values) if values else said

    def counted(self, one: str, many: str, n: int, **values: Any) -> str:
        """The form that goes with ``n``, by the rule of the language; "{n}" is the number."""
        return self.catalogue.ngettext(one, many, n).format(n=n, **values)

    def number(self, value: float, digits: int = 3) -> str:
        """So many significant digits with the decimal mark of the language."""
        if 0 < abs(value) < 0.0005:
            return self.say("below {number}", number=self.marked("0.001"))
        return self.marked(number(value, digits))

    def marked(self, text: str) -> str:
        """A number that is written already, with the decimal mark of the language."""
        return text if self.key == "en" else text.replace(".", ",")

    def span(self, low: float, high: float, digits: int = 3) -> str:
        """A range such as "8-15"; one number where both ends read alike."""
        ends = [self.number(low, digits), self.number(high, digits)]
        return ends[0] if ends[0] == ends[1] else f"{ends[0]}-{ends[1]}"

    def band(self, band: Iterable[float]) -> str:
        """A usual range as its table has it: "2.5-5.5"."""
        return "-".join(self.marked(f"{end:g}") for end in band)

    def percent(self, share: float) -> str:
        """A share as percent, without decimals, never 0 for what is there."""
        whole = round(100 * share)
        text = self.say(
            "{number} %", number=whole if whole or share <= 0 else self.say("below {number}", number=1)
        )
        return text.replace(" %", f"{UNIT_GAP}%")

    def dose(self, amount: str) -> str:
        """Photons in a day with their unit."""
        return self.say("{amount} mol m⁻² a day", amount=amount).replace(
            " mol m⁻²", f"{UNIT_GAP}mol{UNIT_GAP}m⁻²"
        )

    def ppfd(self, amount: str) -> str:
        """Light at a moment with its unit."""
        return f"{amount} {PPFD_UNIT_TYPESET}".strip().replace(" ", UNIT_GAP)

    def hours(self, hours: float) -> str:
        """Hours with one decimal."""
        text = f"{hours:.1f}".removesuffix(".0") if math.isfinite(hours) else "-"
        return f"{self.marked(text)}{UNIT_GAP}h"

    def date(self, iso: str) -> str:
        """A day such as "2026-03-14" as people write it."""
        year, month, day = map(int, iso.split("-"))
        first = "1er" if self.key == "fr" and day == 1 else str(day)
        return self.say("{day} {month} {year}", day=first, month=self.say(MONTHS[month - 1]), year=year)

    def duration(self, seconds: float) -> str:
        """A time for people: "less than 1 second", "13 minutes"."""
        if seconds < 1:
            return self.say("less than 1 second")
        if seconds < 60:
            return self.counted("{n} second", "{n} seconds", int(seconds))
        return self.counted("{n} minute", "{n} minutes", int(seconds / 60))


@cache
def language(key: str) -> Language:
    """The language of that key.

    Raises
    ------
    KeyError
        If there is none.
    """
    if key not in LANGUAGES:
        raise KeyError(key)
    if key == "en":
        return Language(key, NullTranslations())
    with (files("lightdose") / "languages" / f"{key}.mo").open("rb") as file:
        return Language(key, GNUTranslations(file))
