"""What every HTML page of ours shares: templates that escape all names, and hashes for its content policy."""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from jinja2 import Environment


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


def template_text(name: str) -> str:
    """The text of a template file as it stands, such as a style sheet."""
    from importlib.resources import files

    return files("lightdose.present").joinpath("templates", name).read_text("utf-8")


def policy_hash(text: str) -> str:
    """The source expression by which a content policy names a style or a script."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"
