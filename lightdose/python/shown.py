"""How an answer shows itself in code: as a dictionary, a table, a page's part and a few lines of text."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final, Generic, TypeVar

import numpy as np

from lightdose.answers.answer import Answer, envelope
from lightdose.answers.field import Sheet
from lightdose.model.places import LightMap, MapQuantity

if TYPE_CHECKING:
    import pandas as pd
    import xarray as xr

LINES: Final = 11
"""Lines of a ``repr``. Our choice."""

Record = TypeVar("Record")


class Found(Generic[Record]):
    """What a question found: its record, and the answer that the command of the same name gives of it.

    Attributes of the record are attributes of this.

    Attributes
    ----------
    record : everything that was computed
    answer : the same in words, tables and figures
    """

    def __init__(self, record: Record, answer: Answer, rows: str = "") -> None:
        self.record = record
        self.answer = answer
        self._rows = rows

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__") or name in ("record", "answer", "_rows"):
            raise AttributeError(name)
        return getattr(self.record, name)

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *dir(self.record)})

    def to_dict(self) -> dict[str, Any]:
        """The object that ``--json`` prints."""
        return as_dict(self.answer)

    def to_frame(self) -> pd.DataFrame:
        """Its rows as a pandas table, indexed by what they are about; columns carry their unit.

        They are the rows of ``--csv``; where a command writes none, the chief list of its JSON, objects in it
        taken apart ("after.dli_mol_m2_d").
        """
        if self.answer.sheet is not None:
            return frame(self.answer.sheet)
        import pandas as pd

        return _indexed(pd.json_normalize(self.to_dict()[self._rows]))

    def to_xarray(self) -> xr.Dataset:
        """A map's light on its level slices, with depths and places in metres; needs the package xarray.

        Raises
        ------
        TypeError
            If this is no map of level slices.
        """
        if not isinstance(self.record, LightMap) or any(s.plane.kind != "depth" for s in self.record.slices):
            raise TypeError("to_xarray is for a map of level slices, as light_map makes")
        return _as_dataset(self.record)

    def __repr__(self) -> str:
        return brief(self.answer)

    def _repr_html_(self) -> str:
        return markup(self.answer)


MAPPED: Final[Mapping[MapQuantity, tuple[str, str]]] = {
    "dli": ("daily light integral", "mol m-2 d-1"),
    "peak": ("highest PPFD of the day", "umol m-2 s-1"),
    "full_output": ("PPFD with every channel at full output", "umol m-2 s-1"),
}
"""What a map holds: in words, and its unit."""


def _as_dataset(light: LightMap) -> xr.Dataset:
    import xarray as xr

    cells = light.slices[0].cells
    x, y = (0.5 * (edges[:-1] + edges[1:]) for edges in (cells.column_edges_m, cells.row_edges_m))
    places = {"depth": [part.plane.at_m for part in light.slices], "y": y, "x": x}
    made = xr.Dataset(coords=places, attrs={"title": light.setup.title})
    for key, (name, unit) in MAPPED.items():
        values = np.stack([part.of(key) for part in light.slices])
        made[key] = (tuple(places), values, {"long_name": name, "units": unit})
    for axis in places:
        made[axis].attrs["units"] = "m"
    return made


def as_dict(answer: Answer) -> dict[str, Any]:
    """The object that ``--json`` prints."""
    from lightdose.files.program import this_program

    return envelope(answer, this_program())


def frame(sheet: Sheet) -> pd.DataFrame:
    """Rows as a pandas table; names and sites, where they stand first, are its index."""
    import pandas as pd

    return _indexed(pd.DataFrame(sheet.records(), columns=[c.name for c in sheet.columns]))


INDEX: Final = (("coral", "site"), ("case",), ("fixture", "channel"), ("site",))
"""What rows are about: the first of these whose columns they have is their index."""


def _indexed(made: pd.DataFrame) -> pd.DataFrame:
    index = next((list(names) for names in INDEX if {*names} <= {*made.columns}), [])
    return made.set_index(index) if index else made


def brief(answer: Answer) -> str:
    """The first sentences of an answer, in at most ``LINES`` lines."""
    from lightdose.present.text import Window, lines_of

    window = Window(width=100, wraps=True)
    lines = [line for line in lines_of(answer.blocks, window) if line]
    title = f"<lightdose {answer.name}{f': {answer.title}' if answer.title else ''}>"
    shown = lines if len(lines) < LINES else [*lines[: LINES - 2], "... (to_frame, to_dict)"]
    return "\n".join([title, *shown])


def markup(answer: Answer) -> str:
    """An answer's sentences and tables as HTML, without scripts and styles, for a notebook."""
    from lightdose.present.page import answer_markup

    return answer_markup(answer.blocks)


def of_record(record: Record, answer_of: Callable[[Record], Answer], rows: str = "") -> Found[Record]:
    """A record with the answer that is made of it; ``rows`` names the chief list of its JSON."""
    return Found(record, answer_of(record), rows)
