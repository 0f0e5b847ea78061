"""Bring the catalogues of printed pages in line with the code, and make of each .po the .mo that is read.

    python tests/make_languages.py

A text that is new stands in every .po with an empty translation, and one that is gone leaves it. Texts are
marked by ``say``, ``counted`` and ``mark`` in the code; names of groups and findings come from the data.
"""

from __future__ import annotations

import datetime
import io
import tomllib
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po

from lightdose.answers.handout import shown_evidence
from lightdose.answers.language import LANGUAGES
from lightdose.files.growth_trial import growth_trial
from lightdose.judge.map_choice import EVIDENCE

PACKAGE = Path(__file__).parent.parent / "lightdose"
FOLDER = PACKAGE / "languages"
TRANSLATED = [key for key in LANGUAGES if key != "en"]
KEYWORDS = {"say": None, "counted": (1, 2), "mark": None}


def messages() -> Catalog:
    """Every text that a printed page may hold, in a fixed order."""
    found = Catalog()
    for folder in ("answers", "present"):
        texts = extract_from_dir(PACKAGE / folder, [("**.py", "python")], keywords=KEYWORDS)
        for _, _, message, _, _ in texts:
            found.add(message)
    groups = tomllib.loads((PACKAGE / "data" / "coral_groups.toml").read_text(encoding="utf-8"))["group"]
    names = [group["name"] for group in groups.values()]
    findings = [one.text for side in ("for", "against") for one in shown_evidence(EVIDENCE, side)]
    for text in (*names, *findings, growth_trial().source):
        found.add(text)
    return found


def read(key: str) -> Catalog:
    """The catalogue of one language as it stands."""
    return read_po(io.BytesIO((FOLDER / f"{key}.po").read_bytes()), locale=key)


def po_bytes(catalogue: Catalog) -> bytes:
    """A catalogue for people."""
    buffer = io.BytesIO()
    write_po(buffer, catalogue, width=110, omit_header=False, sort_output=False, ignore_obsolete=True)
    lines = buffer.getvalue().splitlines(keepends=True)
    return b"".join(line for line in lines if b"Generated-By" not in line)


def mo_bytes(catalogue: Catalog) -> bytes:
    """The same as it is read at run time."""
    buffer = io.BytesIO()
    write_mo(buffer, catalogue)
    return buffer.getvalue()


def renewed(key: str) -> Catalog:
    """The catalogue with all texts of today and no others; translations are kept."""
    old = read(key)
    new = Catalog(
        locale=key,
        header_comment=f"# Printed pages of lightdose in {LANGUAGES[key]}. Translated by us.",
        project="lightdose",
        version="1",
        msgid_bugs_address="see README",
        last_translator="the makers of lightdose",
        language_team=LANGUAGES[key],
        creation_date=datetime.datetime(2026, 12, 1, tzinfo=datetime.UTC),
        revision_date=datetime.datetime(2026, 12, 1, tzinfo=datetime.UTC),
        fuzzy=False,
    )
    for message in messages():
        if message.id:
            known = old.get(message.id)
            new.add(message.id, known.string if known else None)
    return new


if __name__ == "__main__":
    for language in TRANSLATED:
        catalogue = renewed(language)
        (FOLDER / f"{language}.po").write_bytes(po_bytes(catalogue))
        (FOLDER / f"{language}.mo").write_bytes(mo_bytes(catalogue))
        empty = sum(not all(m.string if m.pluralizable else (m.string,)) for m in catalogue if m.id)
        print(f"{language}: {len(catalogue)} texts, {empty} without a translation")
