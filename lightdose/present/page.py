"""Answers as HTML: blocks to markup, bars on one scale, and a policy by hashes.

Every bar has the usual range in its middle, so that what is off stands out of line. A disc lies within, a
diamond outside, a full diamond far outside; the line is the 95 % interval.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import count
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from lightdose.answers.blocks import Bar, Block, Column, Markup, Picture, Point, Points, Say, Section, Table
from lightdose.answers.words import joined_ends, typeset, typeset_unit
from lightdose.errors import literal
from lightdose.model.results import DliState
from lightdose.present.figures.fitting import BROAD, fitted_to
from lightdose.present.figures.inline_svg import inline_figure
from lightdose.present.figures.style import DARK
from lightdose.present.text import alike_words

if TYPE_CHECKING:
    from jinja2 import Environment

WIDTH: Final = 200
EDGES: Final = (3.0, 32.0, 66.0, 134.0, 168.0, 197.0)
"""Where nothing, floor, usual range, ceiling and twice the ceiling stand."""

KEY: Final = (
    "Bars: dark from the low to the high end of the usual range, light from floor to ceiling; the line is "
    "the 95 % interval. Stated value: disc within, open diamond outside, full diamond far outside."
)


@dataclass(frozen=True)
class RangeBar:
    """Places along a bar of ``WIDTH``; ``line`` is None where no interval is known."""

    state: DliState
    mark: float
    line: tuple[float, float] | None

    floor: float = EDGES[1]
    low: float = EDGES[2]
    high: float = EDGES[3]
    ceiling: float = EDGES[4]


def range_bar(bar: Bar) -> RangeBar:
    """Where everything of a bar stands."""

    def place(dose: float) -> float:
        return round(float(np.interp(dose, bar.zones, EDGES)), 1)

    line = None if bar.interval is None else (place(bar.interval[0]), place(bar.interval[1]))
    return RangeBar(bar.state, place(bar.dose), line)


ROWS_AT_MOST: Final = 300
"""Longer tables end here: a page that nobody can scroll helps nobody. CSV files hold all rows."""

SHORT: Final = 22
ONE_LINE: Final = 34
"""Figures and words up to so many letters stand on one line."""


HEAD_LETTERS: Final = 90
"""Longer titles are shortened at the head of printed sheets."""

LONGEST_WORD: Final = 18
"""Words up to so many letters are never broken."""

FOLDED_FROM: Final = 13
"""From so many rows on a table waits behind its caption, a list of corals shows those of concern alone."""


class Ready(str):
    """Markup, style or script of our own making, which a template leaves as it is."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


@cache
def page_environment() -> Environment:
    """Templates of ``present/templates``: everything is escaped unless it is ``Ready``."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("lightdose.present", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )


def _long(text: str) -> bool:
    """Whether a text holds a word so long that it must be broken on a narrow screen."""
    return any(len(word) > LONGEST_WORD for word in text.split())


def template_text(name: str) -> str:
    """The text of a template file as it stands, such as a style sheet."""
    from importlib.resources import files

    return files("lightdose.present").joinpath("templates", name).read_text("utf-8")


def running_heads(title: str, date: str) -> str:
    """A style sheet that puts title, date and number of the page on every sheet of paper."""
    heads = {"top-left": _css_string(joined_ends(title, HEAD_LETTERS)), "top-right": _css_string(date)}
    heads["bottom-right"] = '"page " counter(page) " of " counter(pages)'
    return "@page {" + "".join(f" @{box} {{ content: {text}; }}" for box, text in heads.items()) + " }"


def _css_string(text: str) -> str:
    """A string of a style sheet in which nothing but letters and digits stands as it is."""
    plain = (c if c.isascii() and (c.isalnum() or c in " -") else f"\\{ord(c):x} " for c in text)
    return f'"{"".join(plain)}"'


@cache
def dark_figures() -> str:
    """A style sheet that gives every tone of figures its counterpart on a dark page."""
    rules = "".join(
        f'svg.figure [{what}="{light}"]:not(.kept *) {{ {what}: {dark}; }} '
        for light, dark in DARK.items()
        for what in ("fill", "stroke")
    )
    return f"@media screen and (prefers-color-scheme: dark) {{ {rules}}}"


def policy(styles: Sequence[str], scripts: Sequence[str]) -> str:
    """A content policy that lets nothing run or load but our own styles and scripts, each by its hash."""
    rules = ["default-src 'none'", f"style-src {' '.join(map(hash_source, styles))}"]
    if scripts:
        rules.append(f"script-src {' '.join(map(hash_source, scripts))}")
    return "; ".join([*rules, "base-uri 'none'", "form-action 'none'"])


def hash_source(text: str) -> str:
    """The source of a style or script in a content policy."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def set_text(text: str) -> str:
    """A sentence as a page sets it: names literally, units in type."""
    return typeset(literal(text)).replace("->", "→")


def laid_out(sections: Iterable[Section]) -> list[dict[str, Any]]:
    """Sections as the template ``blocks.html`` takes them, empty ones left out; figures are numbered."""
    numbers = count(1)
    return [_section(s, numbers) for s in sections if s.blocks and s.screens]


def answer_markup(blocks: Iterable[Block]) -> str:
    """Sentences and tables of an answer as markup, without figures, styles and scripts."""
    section = Section("", tuple(b for b in blocks if not isinstance(b, Picture | Markup)), brief=False)
    (found,) = laid_out([section])
    template = page_environment().get_template("answer.html")
    return template.render(found=found["blocks"])


def _section(section: Section, numbers: Iterator[int]) -> dict[str, Any]:
    blocks = [
        _block(b, numbers) for b in section.blocks if not isinstance(b, Section) or (b.blocks and b.screens)
    ]
    for block in blocks:
        block["said"] = block.get("caption") == set_text(section.title)
    return {
        "kind": "section",
        "key": section.key,
        "title": set_text(section.title),
        "nav": section.nav,
        "paper": section.paper,
        "folded": section.folded,
        "blocks": _side_by_side(blocks),
    }


def _side_by_side(blocks: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Figures that follow one another stand beside one another where there is room."""
    made: list[dict[str, Any]] = []
    for block in blocks:
        if block["kind"] != "figure":
            made.append(block)
        elif made and made[-1]["kind"] == "figures":
            made[-1]["figures"].append(block)
            made[-1]["paper"] |= block["paper"]
        else:
            made.append({"kind": "figures", "figures": [block], "paper": block["paper"]})
    return made


def _block(block: Block, numbers: Iterator[int]) -> dict[str, Any]:
    if isinstance(block, Section):
        return _section(block, numbers)
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Points):
        return {"kind": "points", "terms": block.terms, "points": [_point(p) for p in block.points]}
    if isinstance(block, Say):
        return {"kind": "say", "text": set_text(block.text), "tone": block.tone}
    if isinstance(block, Markup):
        values = {key: Ready(value) if key == "html" else value for key, value in block.values.items()}
        return {"kind": "markup", "template": block.template, **values}
    assert isinstance(block, Picture)
    figure = inline_figure(block.draw(), f"f{next(numbers)}")
    broad = ""
    if block.twice:
        with fitted_to(BROAD):
            broad = inline_figure(block.draw(), f"f{next(numbers)}").svg
    return {
        "kind": "figure",
        "key": figure.name,
        "caption": figure.caption,
        "lead": figure.lead,
        "svg": Ready(figure.svg),
        "broad": Ready(broad),
        "paper": block.paper,
    }


def _point(point: Point) -> dict[str, str]:
    return {
        "about": literal(point.about),
        "text": set_text(point.text),
        "source": literal(point.source),
        "code": point.code,
    }


def _table(table: Table) -> dict[str, Any]:
    telling, same = table.telling()
    here = [c for c in table.columns[: table.page_columns or None] if c.head not in table.page_leaves_out]
    shown, within = ([c for c in columns if c in here] for columns in (telling, same))
    alike = alike_words(within, table.length_unit)
    rows = range(min(table.n_rows, ROWS_AT_MOST))
    more = table.n_rows - len(rows)
    shown = [replace(column, cells=column.cells[: len(rows)]) for column in shown]
    heads = [_head(column, table) for column in shown]
    listed = bool(table.filters)
    notes = (
        table.note,
        f"{alike[:1].upper()}{alike[1:]}." if alike else "",
        f"{more} more: --csv of the command writes all of them." if more else "",
    )
    return {
        "kind": "table",
        "key": f"table-{table.key}",
        "caption": set_text(table.caption),
        "heads": heads,
        "rows": [
            [_cell(c.cells[i], head["kind"]) for c, head in zip(shown, heads, strict=True)] for i in rows
        ],
        "classes": [_row_class(table, i) for i in rows],
        "listed": listed,
        "folded": not listed and table.n_rows >= FOLDED_FROM,
        "filters": [(name, sorted(set(words))) for name, words in table.filters],
        "filed": [[words[i] for _, words in table.filters] for i in rows],
        "calm_words": table.calm_words,
        "note": " ".join(set_text(note) for note in notes if note),
        "paper": table.paper,
    }


def _row_class(table: Table, row: int) -> str:
    """ "far" for a row of most concern; "calm" for one of none in a long list."""
    far = row < len(table.strong) and table.strong[row]
    calm = table.n_rows >= FOLDED_FROM and not all(table.calm) and row < len(table.calm) and table.calm[row]
    return " ".join(["far"] * far + ["calm"] * calm)


def _head(column: Column, table: Table) -> dict[str, Any]:
    unit = table.length_unit if column.unit == "length" else typeset_unit(column.unit.strip())
    bars = any(isinstance(cell, Bar) for cell in column.cells)
    text = set_text(column.head.replace("\n", " "))
    return {
        "text": text,
        "unit": typeset(literal(unit)),
        "label": text.partition(",")[2].strip() or text,
        "kind": "range" if bars else _kind(column),
    }


def _kind(column: Column) -> str:
    """How a column is set: figures to the right on one line, short words on one, sentences on several."""
    texts = [cell for cell in column.cells if isinstance(cell, str)]
    figures = all(len(text) <= SHORT and text[:1] in "0123456789-" for text in texts)
    if column.right or (figures and not column.fold):
        return ""
    return "s" if max(map(len, texts), default=0) <= ONE_LINE and not column.fold else "w"


def _cell(cell: str | Bar, kind: str) -> dict[str, Any]:
    """A cell with its classes: the kind of its column, a word that must be broken, nothing to tell."""
    if isinstance(cell, Bar):
        return {"bar": range_bar(cell), "text": "", "long": False, "classes": kind}
    text = set_text(cell)
    long = _long(text)
    return {
        "bar": None,
        "text": text,
        "long": long,
        "classes": " ".join([kind] * bool(kind) + ["long"] * long + ["none"] * (text == "-")),
    }
