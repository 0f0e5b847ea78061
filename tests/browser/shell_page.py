"""The section "try a change" alone on a page, under the policy that the report has."""

from __future__ import annotations

import base64
import hashlib
from html import escape

from lightdose.model.changes import TryChange
from lightdose.present.report import try_change_section

PLAIN = (
    "body { margin: 0; font: 14px/1.4 sans-serif; background: #fff; color: #0d0d0d; } main { padding: 1rem; }"
)


def source_hash(text: str) -> str:
    """As a content security policy names a script or a style sheet."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def shell_page(record: TryChange, title: str = "made") -> str:
    """A page of nothing but the section."""
    section = try_change_section(record)
    style = PLAIN + section.style
    policy = f"default-src 'none'; style-src {source_hash(style)}; script-src {source_hash(section.script)}"
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy}">'
        f"<title>{escape(title)}</title><style>{style}</style></head>"
        f"<body><main><h1>A page</h1>{section.html}</main><script>{section.script}</script></body></html>"
    )
