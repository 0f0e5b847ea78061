"""The diary of a tank: states that were kept, notes, and what they tell of each coral.

What there are thousands of are named tuples, which are made ten times faster than records.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal, NamedTuple

from lightdose.errors import Place, Problem
from lightdose.model.record import dataclass
from lightdose.model.results import Basis, Interval
from lightdose.model.setup import Setup

SCORES: Final[Mapping[str, tuple[int, int]]] = {"colour": (1, 6), "open": (0, 3)}
"""Kinds that are scored, with the ends of their scale: pale to dark, and closed to wide open."""

KINDS: Final[Mapping[str, str]] = {
    "colour": "1-6, pale to dark, by one observer under white light",
    "open": "0-3, closed to wide open",
    "size_cm": "largest width, cm",
    "lost": "the coral died or left",
    "reading": "what a light meter showed; its unit stands beside it",
    "care": "water change, feeding, carbon, trimming",
    "free": "anything else worth remembering",
}
"""Kinds of notes that lightdose knows; others are kept and shown as they are."""

COLOUR_COUNTS: Final = 2
"""A change of colour that counts. Source: Siebeck et al. 2006, doi 10.1007/s00338-006-0123-8."""


@dataclass(frozen=True)
class KeptFile:
    """A file of a state.

    Attributes
    ----------
    file : its path as seen from the setup's folder, parted by "/"
    sha256 : of its bytes
    kept_as : where its bytes are kept, as seen from the diary's folder
    """

    file: str
    sha256: str
    kept_as: str


@dataclass(frozen=True)
class KeptState:
    """The setup and all files it names as they were on a day; ``name`` is that of its folder."""

    date: str
    name: str
    why: str
    files: tuple[KeptFile, ...]

    @property
    def contents(self) -> frozenset[tuple[str, str]]:
        """Which files it has, with which bytes: equal for equal states."""
        return frozenset((f.file, f.sha256) for f in self.files)


class Note(NamedTuple):
    """One fact that somebody noted.

    Attributes
    ----------
    coral : "" for the whole tank
    value : as a number, None where there is none; ``text`` is the cell as it stands
    """

    date: str
    coral: str
    kind: str
    value: float | None
    unit: str
    remark: str
    text: str = ""
    place: Place | None = None


@dataclass(frozen=True, eq=False)
class Diary:
    """What stands in a tank's diary.

    Attributes
    ----------
    folder : where it is
    states : by date; of one day, the last stands
    notes : by date
    problems : rows and states that cannot be read; the others are here
    understood : what was made of the files, a sentence each
    """

    folder: str
    states: tuple[KeptState, ...]
    notes: tuple[Note, ...]
    problems: tuple[Problem, ...] = ()
    understood: tuple[str, ...] = ()


class CoralDay(NamedTuple):
    """What one coral gets in a day under one state.

    Attributes
    ----------
    interval_dli : 95 %; None where it was not asked for. [mol m-2 d-1]
    shares : blue, green and red of the dose, by the band's key; None without light
    place : x, y, depth below the surface [m] and open sky of the point that it is judged at
    floor_dli : of its group or its own; None without one. [mol m-2 d-1]
    """

    dli_mol_m2_d: float
    peak_ppfd_umol_m2_s: float
    photoperiod_h: float
    shares: Mapping[str, float] | None
    site: str
    place: tuple[float, float, float, float]
    group: str
    floor_dli: float | None
    interval_dli: Interval | None = None


class SetFor(NamedTuple):
    """A dose that a coral has followed to, with its range over lags. [mol m-2 d-1]"""

    default: float
    low: float
    high: float


class Spell(NamedTuple):
    """A coral under one state, from its day to that of the next; ``until`` is the first day of the next.

    ``set_for`` is the acclimated dose on the last day of the spell, with its range. [mol m-2 d-1]
    """

    state: KeptState
    since: str
    until: str
    light: CoralDay
    set_for: SetFor


ChangeKind = Literal["fast_rise", "below_floor", "deep_cut", "moved", "colour", "hours", "dimmer", "brighter"]


class Change(NamedTuple):
    """What a new state did to the light of one coral.

    Attributes
    ----------
    kinds : what it counts as, for comparing corals
    before, after : light under the two states
    rise_in_week : dose over the least dose of the seven days before
    """

    date: str
    coral: str
    kinds: tuple[ChangeKind, ...]
    before: CoralDay
    after: CoralDay
    rise_in_week: float | None

    @property
    def ratio(self) -> float | None:
        """Dose after over dose before; None where it was dark."""
        dose = self.before.dli_mol_m2_d
        return self.after.dli_mol_m2_d / dose if dose > 0 else None


TroubleKind = Literal["paler", "closed", "lost"]


@dataclass(frozen=True)
class Fared:
    """How corals fared that had the same change, and those that had not.

    Attributes
    ----------
    kind : of the change
    trouble : what is counted
    changed, changed_bad : corals with the change that were looked at afterwards, and those in trouble
    others, others_bad : the same of corals without it
    not_looked_at : corals of both that nobody looked at in that time
    chance : that as many of the changed corals, or more, are among those in trouble by chance alone; None
        where there is nothing to compare
    """

    kind: ChangeKind
    trouble: TroubleKind
    changed: int
    changed_bad: int
    others: int
    others_bad: int
    not_looked_at: int
    chance: float | None


@dataclass(frozen=True)
class Trouble:
    """A note of trouble, and what stands in the diary of the weeks before it.

    Attributes
    ----------
    before : score that it fell from; None for a coral that was lost
    changes : of its light, the largest first, each with how others fared
    also_noted : notes of the same weeks, on this coral or the whole tank
    not_recorded : what nobody wrote down in that time
    """

    kind: TroubleKind
    note: Note
    before: float | None
    changes: tuple[tuple[Change, tuple[Fared, ...]], ...]
    also_noted: tuple[Note, ...]
    not_recorded: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class CoralHistory:
    """One coral through the diary: its light, what changed, and what was noted."""

    coral: str
    group: str
    group_name: str
    spells: tuple[Spell, ...]
    changes: tuple[Change, ...]
    notes: tuple[Note, ...]
    troubles: tuple[Trouble, ...] = ()


@dataclass(frozen=True)
class OwnRange:
    """The doses that a coral lived in while its colour stayed or rose. [mol m-2 d-1]

    ``days`` and ``notes`` count the runs of scores that it stands on, from ``first`` to ``last``.
    """

    coral: str
    group: str
    first: str
    last: str
    days: int
    notes: int
    low: float
    high: float


@dataclass(frozen=True)
class GroupRange:
    """The same for all corals of a group together; ``corals`` and ``notes`` count them."""

    group: str
    corals: int
    notes: int
    first: str
    last: str
    low: float
    high: float

    @property
    def source(self) -> str:
        """Its source: "own records, 2024-01-15 to 2025-12-15"."""
        return f"own records, {self.first} to {self.last}"


@dataclass(frozen=True)
class StateChange:
    """A state, and what differs in it from the one before, in words: common to all, and of single corals."""

    state: KeptState
    differences: tuple[str, ...]
    corals: tuple[str, ...] = ()

    @property
    def words(self) -> tuple[str, ...]:
        """Everything that differs."""
        return (*self.differences, *self.corals)


@dataclass(frozen=True, eq=False)
class History:
    """A tank through its diary.

    Attributes
    ----------
    setup : as it is today
    first, last : days of the first and of the last entry that is shown
    states : in force within them, each with what changed
    distinct : how many different states were analysed
    corals : those asked for
    tank_notes : of the whole tank
    compared : corals that were looked at to tell how others fared
    unkept : whether today's setup differs from the last state
    """

    setup: Setup
    basis: Basis
    diary: Diary
    first: str
    last: str
    states: tuple[StateChange, ...]
    distinct: int
    corals: tuple[CoralHistory, ...]
    tank_notes: tuple[Note, ...]
    problems: tuple[Problem, ...] = ()
    unkept: bool = False


@dataclass(frozen=True)
class DoseChange:
    """A coral's daily dose before and after. [mol m-2 d-1]"""

    coral: str
    before: float
    after: float

    @property
    def ratio(self) -> float | None:
        """After over before; None from the dark."""
        return self.after / self.before if self.before > 0 else None


@dataclass(frozen=True, eq=False)
class Keeping:
    """What `keep` did.

    Attributes
    ----------
    before : the state before; None for the first
    state : the new one; None where nothing differed
    stored, n_bytes : files that it stored, and their size
    differences : what differs from the state before, in words
    doses : corals under both, None where the light cannot be computed
    """

    setup: Setup
    date: str
    before: KeptState | None
    state: KeptState | None
    stored: int = 0
    n_bytes: int = 0
    differences: tuple[str, ...] = ()
    doses: tuple[DoseChange, ...] | None = None


class FastRise(NamedTuple):
    """A coral that rose lately and that a change would raise too far.

    Attributes
    ----------
    since : day up to which it got ``before``
    before, now, after : its dose then, today, and with the change. [mol m-2 d-1]
    due : the day from which it may rise so far
    """

    coral: str
    since: str
    before: float
    now: float
    after: float
    due: str

    @property
    def ratio(self) -> float:
        """Dose with the change over that before."""
        return self.after / self.before


@dataclass(frozen=True)
class RecentSteps:
    """What the diary tells of the days before a change.

    Attributes
    ----------
    raised : corals that the change raises
    states : kept in these days, from the first; those kept before the tank was measured anew are not here
    rises : corals that it would raise too far
    unknown : states whose light cannot be compared with today's
    """

    raised: tuple[str, ...] = ()
    states: tuple[KeptState, ...] = ()
    rises: tuple[FastRise, ...] = ()
    unknown: tuple[KeptState, ...] = ()
