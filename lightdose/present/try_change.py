"""The section "Try a change" of the report: HTML, one plain script, and a style sheet.

Everything that comes from a setup stands in a JSON block and gets into the page by ``textContent``; the
markup holds none of it. The script is the same for every setup, so a content security policy can name it by
its hash.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from lightdose.answers.words import STATE_WORDS, count, literal
from lightdose.model.changes import TryChange

_ESCAPES: Final = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}


@dataclass(frozen=True)
class TrySection:
    """Parts of the section: ``script`` and ``style`` are the texts inside their elements, without the tags.

    ``html`` goes into the page as it stands; the script comes after it.
    """

    html: str
    script: str
    style: str


def try_change_section(record: TryChange) -> TrySection:
    """The section for one setup."""
    html = _template("html").replace("@DATA@", _json_block(_data(record)))
    return TrySection(html, _template("js"), _template("css"))


@cache
def _template(suffix: str) -> str:
    from importlib.resources import files

    return files("lightdose.present").joinpath("templates", f"try_change.{suffix}").read_text("utf-8")


def _json_block(data: dict[str, Any]) -> str:
    """JSON that may stand inside a script element: it holds no markup and no line separators."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return "".join(_ESCAPES.get(c, c) for c in text)


def _data(record: TryChange) -> dict[str, Any]:
    return {
        "channels": [
            {
                "shown": literal(f"{c.fixture}: {c.channel}" if len(record.fixtures) > 1 else c.channel),
                "time": c.time_h.tolist(),
                "level": c.level.tolist(),
                "dimLevel": c.dimming.level.tolist(),
                "dimOutput": c.dimming.output.tolist(),
                "highest": c.highest_level,
                "today": c.today_level,
                "top": c.top,
                "topChange": c.top_change_h,
                "borrowed": literal(c.borrowed_from),
            }
            for c in record.channels
        ],
        "fixtures": [
            {
                "name": literal(f.name),
                "first": f.first_channel,
                "count": f.channel_count,
                "header": f.schedule_header,
                "file": f.schedule_file,
            }
            for f in record.fixtures
        ],
        "rows": [
            {
                "coral": None if r.coral is None else literal(r.coral),
                "site": literal(r.site),
                "at": r.receiver,
                "band": r.band_dli,
                "floor": r.floor_dli,
                "ceiling": r.ceiling_dli,
                "peakHigh": r.peak_high,
                "dli": r.dli_mol_m2_d,
                "peak": r.peak_ppfd_umol_m2_s,
                "hour": r.brightest_hour_ppfd_umol_m2_s,
                "state": r.dli_state,
            }
            for r in record.rows
        ],
        "response": record.response.tolist(),
        "leading": record.leading,
        "plateau": record.plateau_h,
        "leftOut": count(record.left_out, "place") if record.left_out else "",
        "words": STATE_WORDS,
    }
