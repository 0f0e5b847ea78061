"""What commands say: a module a command makes an ``Answer`` of its record, and every surface prints it."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from lightdose.answers.field import Field

TABLES: Final = {
    "compare": ("compare", "FIELDS"),
    "dose": ("light", "FIELDS"),
    "groups": ("library", "GROUP_FIELDS"),
    "hazard": ("hazard", "FIELDS"),
    "map": ("map", "FIELDS"),
    "place": ("place", "FIELDS"),
    "sensitivity": ("sensitivity", "FIELDS"),
    "spectrum": ("library", "SPECTRUM_FIELDS"),
}
"""Command with a CSV -> module and name of the fields of its rows; what many setups put into one table."""


def fields_of(command: str) -> tuple[Field, ...]:
    """The fields of a command's rows, in the order of its CSV."""
    module, name = TABLES[command]
    fields: tuple[Field, ...] = getattr(import_module(f"lightdose.answers.{module}"), name)
    return fields
