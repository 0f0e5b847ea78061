"""The one page of the desk: a template of our own, its style and its script inside it, each by its hash."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from typing import Final

from lightdose.present.page import Ready, hash_source

SCRIPTS: Final = (
    "talk.js",
    "tank.js",
    "corals.js",
    "lamps.js",
    "readings.js",
    "things.js",
    "first.js",
    "desk.js",
)
"""Parts of one module, in order."""


def _own(name: str) -> str:
    return files("lightdose.desk").joinpath("templates", name).read_text("utf-8")


@cache
def page() -> tuple[str, str]:
    """The page and the content policy that it is sent with."""
    from jinja2 import Environment, StrictUndefined

    style = _own("desk.css")
    script = "\n".join(_own(name) for name in SCRIPTS)
    template = Environment(autoescape=True, undefined=StrictUndefined).from_string(_own("desk.html"))
    html = template.render(style=Ready(style), script=Ready(script))
    policy = "; ".join(
        (
            "default-src 'none'",
            f"style-src {hash_source(style)}",
            f"script-src {hash_source(script)}",
            "connect-src 'self'",
            "img-src data:",
            "base-uri 'none'",
            "form-action 'none'",
            "frame-ancestors 'none'",
        )
    )
    return html, policy
