"""One line for each of many setups: what a keeper of a shop reads before opening any of them."""

from __future__ import annotations

from lightdose.model.record import dataclass


@dataclass(frozen=True)
class OverviewRow:
    """One setup of many.

    Attributes
    ----------
    file : the setup as it was found
    label : the shortest name that tells it from the others
    cells : head and text of each column, the most telling first
    standing : the group that it is counted under, such as "with corals off"; its place among groups is
        the first number of ``concern``
    concern : sorts the rows, the worst first
    failed : whether nothing could be computed
    """

    file: str
    label: str
    cells: tuple[tuple[str, str], ...]
    standing: str
    concern: tuple[float, ...]
    failed: bool = False
