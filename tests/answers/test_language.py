"""Printed pages in other languages: catalogues whole and in line with the code, nothing left in English."""

from __future__ import annotations

import re
from dataclasses import replace
from gettext import GNUTranslations, NullTranslations
from pathlib import Path

import make_languages
import pytest
from babel.messages.catalog import Catalog, Message
from matplotlib.figure import Figure
from present.made_analysis import EXAMPLE, made_analysis
from present.made_history import made_history

from lightdose.answers.language import LANGUAGES, Language, language
from lightdose.present.paper import handout_pages, slip_page
from lightdose.workflows.compare import handout, slip

TRANSLATED = make_languages.TRANSLATED
NAMES = re.compile(r"{(\w*)}")
SAME = {
    *("{group}: {band} (common practice)", "{dose}: {state}.", "{dose} (95 %: {span})", "{number} %"),
    *("In lightdose: {line}", "{day} {month} {year}", "Date", "blue", "Strongest", "Colour"),
    *("April", "August", "September", "October", "November", "December", "Colour", "Hours", "{n} minute"),
}
"""Texts that a language may have as English has them."""


def strings(message: Message) -> list[str]:
    """All forms of a translation."""
    return list(message.string) if message.pluralizable else [str(message.string)]


@pytest.mark.identity
@pytest.mark.parametrize("key", TRANSLATED)
def test_catalogue_holds_every_text_and_no_other(key: str) -> None:
    """What the code says is translated, what it no longer says is gone, and nothing is marked doubtful."""
    known: Catalog = make_languages.read(key)
    wanted = {m.id for m in make_languages.messages() if m.id}
    assert {m.id for m in known if m.id} == wanted
    for message in known:
        if message.id:
            assert all(strings(message)), message.id
            assert not message.fuzzy


@pytest.mark.identity
@pytest.mark.parametrize("key", TRANSLATED)
def test_translation_names_the_same_values_and_is_one(key: str) -> None:
    """Every value in braces comes back in each form, and no text was merely copied."""
    for message in make_languages.read(key):
        if not message.id:
            continue
        first, *_ = message.id if message.pluralizable else (message.id,)
        for text in strings(message):
            assert sorted(NAMES.findall(text)) == sorted(NAMES.findall(first)), text
            assert text != first or first in SAME, text


@pytest.mark.identity
@pytest.mark.parametrize("key", TRANSLATED)
def test_compiled_catalogue_is_that_of_the_source(key: str) -> None:
    """The file that is read holds every form of every text of the file that people edit, and no other."""
    with Path(make_languages.FOLDER, f"{key}.mo").open("rb") as file:
        read: dict[object, str] = GNUTranslations(file)._catalog  # type: ignore[attr-defined]
    known = make_languages.read(key)
    wanted: dict[object, str] = {}
    for message in known:
        if message.id and message.pluralizable:
            wanted |= {(message.id[0], n): text for n, text in enumerate(strings(message))}
        elif message.id:
            wanted[message.id] = strings(message)[0]
    assert {text: said for text, said in read.items() if text} == wanted


class _Marked(NullTranslations):
    """A language whose every text stands in brackets."""

    def gettext(self, message: str) -> str:
        return f"‹{message}›"

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return f"‹{msgid1 if n == 1 else msgid2}›"


def _unmarked(figure: Figure) -> str:
    """What stands on a page outside all brackets, tick labels apart."""
    # Sources stand in square brackets, as they are cited.
    drawn = [*figure.texts, *(text for axes in figure.axes for text in axes.texts)]
    drawn += [label for axes in figure.axes for label in (axes.xaxis.label, axes.yaxis.label)]
    words = " ".join(text.get_text() for text in drawn)
    words = re.sub(r"\[[^\]]*\]", "", words)
    while (shorter := re.sub(r"‹[^‹›]*›", "", words)) != words:
        words = shorter
    return words


def _pages(w: Language) -> list[Figure]:
    """Hand-outs of two tanks and of one without corals, slips with a year and of a coral without light."""
    tank = made_analysis(EXAMPLE)
    life = made_history(1).corals[0]
    told = slip(tank, "torch head", "2026-03-14")
    return [
        handout_pages(handout(tank, made_analysis(EXAMPLE[:3]), "2026-03-14"), "letter", w).figure,
        handout_pages(handout(made_analysis((), ())), "a4", w).figure,
        slip_page(replace(told, life=life, date=life.spells[-1].until), "a4", w).figure,
        slip_page(slip(tank, "sun coral", "2026-03-14"), "a4", w).figure,
    ]


@pytest.mark.identity
def test_nothing_on_a_page_bypasses_the_catalogues() -> None:
    """Names, titles and units apart, every word of a page comes from a catalogue."""
    own = {name for name, *_ in EXAMPLE} | {"Window tank (invented)", "lightdose", "µmol"}
    for figure in _pages(Language("xx", _Marked())):
        left = _unmarked(figure)
        for name in own:
            left = left.replace(name, "")
        assert re.findall(r"[^\W\d_]{2,}", left) == []


class _Missing(NullTranslations):
    """Writes down what a catalogue did not have."""

    def __init__(self) -> None:
        super().__init__()
        self.asked: list[str] = []

    def gettext(self, message: str) -> str:
        self.asked.append(message)
        return message

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1)


@pytest.mark.identity
@pytest.mark.parametrize("key", TRANSLATED)
def test_no_text_of_a_page_is_missing(key: str) -> None:
    """Whatever a page asks for is in the catalogue of each language."""
    missing = _Missing()
    with Path(make_languages.FOLDER, f"{key}.mo").open("rb") as file:
        catalogue = GNUTranslations(file)
    catalogue.add_fallback(missing)
    _pages(Language(key, catalogue))
    assert missing.asked == []


@pytest.mark.identity
@pytest.mark.parametrize(
    ("key", "number", "percent", "dose", "date"),
    [
        ("en", "4.25", "92 %", "11.2 mol m⁻² a day", "14 March 2026"),
        ("de", "4,25", "92 %", "11,2 mol m⁻² am Tag", "14. März 2026"),
        ("fr", "4,25", "92 %", "11,2 mol m⁻² par jour", "14 mars 2026"),
        ("es", "4,25", "92 %", "11,2 mol m⁻² al día", "14 de marzo de 2026"),
        ("it", "4,25", "92%", "11,2 mol m⁻² al giorno", "14 marzo 2026"),
        ("nl", "4,25", "92%", "11,2 mol m⁻² per dag", "14 maart 2026"),
    ],
)
def test_numbers_units_and_dates_are_those_of_the_language(
    key: str, number: str, percent: str, dose: str, date: str
) -> None:
    """Decimal marks, percent signs, amounts and days as people write them there."""
    w = language(key)
    assert w.number(4.25) == number
    assert w.percent(0.92).replace("\u00a0", " ") == percent
    assert w.dose(w.number(11.2)).replace("\u00a0", " ") == dose
    assert w.date("2026-03-14") == date
    assert w.date("2026-03-01") == date.replace("14", "1er" if key == "fr" else "1")


@pytest.mark.identity
@pytest.mark.parametrize(
    ("key", "one", "many"), [("en", "1 minute", "13 minutes"), ("de", "1 Minute", "13 Minuten"),
                             ("es", "1 minuto", "13 minutos"), ("nl", "1 minuut", "13 minuten")]
)  # fmt: skip
def test_plural_follows_the_number(key: str, one: str, many: str) -> None:
    """One is not many, in each language by its own rule; French counts 0 as one."""
    assert language(key).duration(60) == one
    assert language(key).duration(780) == many
    text = language("fr").counted("moved {n} time", "moved {n} times", 0)
    assert text == "déplacé 0 fois"


@pytest.mark.identity
def test_small_and_large_numbers_read_well() -> None:
    """Nothing becomes 0 that is not, spans of one value are one number, and no value stays a dash."""
    w = language("de")
    assert w.number(0.0001) == "unter 0,001"
    assert w.percent(0.001).replace("\u00a0", " ") == "unter 1 %"
    assert w.percent(0.0).replace("\u00a0", " ") == "0 %"
    assert w.span(4.2, 4.2) == "4,20"
    assert w.band((2.5, 5.5)) == "2,5-5,5"
    assert w.hours(float("nan")).startswith("-")
    assert set(LANGUAGES) == {"en", *TRANSLATED}
