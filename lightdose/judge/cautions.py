"""What the keeper should know besides the doses: the light's mix and day, the numbers' limits, safety."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from lightdose.judge.hazard import short_lines
from lightdose.judge.plain_words import LONGEST_DAY_H, STEP_ABOVE_RISE, plain
from lightdose.model.fixture import DEFAULT_BEAM_FWHM_DEG, CosineLobe
from lightdose.model.light import DayCurve, Dose, LightField
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import EYES, Caution, DirectView, Verdict
from lightdose.model.setup import Setup
from lightdose.quantities import HOURS_PER_DAY

if TYPE_CHECKING:
    from lightdose.model.calibration import Calibration

LEAST_BLUE_SHARE = 0.30
MOST_RED_SHARE = 0.50
MOST_BELOW_390_SHARE = 0.01

_PRACTICE = "common practice, no published source"
_NAMED_AT_MOST = 4


@dataclass(frozen=True)
class _Places:
    """Every coral with the receiver of its own light, and the sites where none stands with theirs."""

    corals: Sequence[tuple[str, int]]
    empty: Sequence[tuple[str, int]]

    @classmethod
    def of(cls, setup: Setup, verdicts: Sequence[Verdict]) -> _Places:
        taken = {v.site for v in verdicts}
        empty = [(s.name, row) for row, s in enumerate(setup.sites) if s.name not in taken]
        return cls([(v.coral, v.receiver) for v in verdicts], empty)

    def caution(
        self, affected: npt.NDArray[np.bool_], code: str, text: str, source: str
    ) -> Iterator[Caution]:
        """The caution with the names of those that are affected for "{at}"; nothing where none is."""
        corals, empty = ([name for name, row in rows if affected[row]] for rows in (self.corals, self.empty))
        at = _corals_words(corals, len(self.corals)) if corals else _listed(empty)
        if self.corals and empty:
            where = f"where no coral stands: {_listed(empty)}"
            where = where if len(empty) <= 2 else f"{len(empty)} places without a coral"
            at += f" (and {where})" if corals else " (no coral there)"
        if corals or empty:
            yield Caution(code, text.replace("{at}", at), source, (*corals, *empty))


def _corals_words(names: Sequence[str], of: int) -> str:
    """Names of corals; all of many as one."""
    return f"all {of} corals" if len(names) == of > _NAMED_AT_MOST else _listed(names)


def find_cautions(
    setup: Setup,
    field: LightField,
    curve: DayCurve,
    dose: Dose,
    verdicts: tuple[Verdict, ...],
    hazards: Sequence[DirectView] = (),
) -> tuple[Caution, ...]:
    """Cautions on the mix and the day with the places they concern, then limits, then safety.

    Parameters
    ----------
    setup : Setup
    field : LightField
        With the weightings "ppfd", "blue", "red", "uv_a" and "below_390".
    curve : DayCurve
    dose : Dose
    verdicts : tuple of Verdict
    hazards : sequence of DirectView
        From ``find_hazards``: where a limit can be reached within a working hour, the lines on safety say so.

    Returns
    -------
    tuple of Caution
        At most one of each code.

    Source
    ------
    Each caution carries its own; the thresholds are our choice.
    """
    where = _Places.of(setup, verdicts)
    return (
        *_mix_cautions(where, field, dose),
        *_day_cautions(where, field, curve, dose),
        *_change_cautions(setup, verdicts),
        *_without_place(setup),
        *_limits(setup, verdicts),
        *_stands_on(setup),
        *_safety(hazards),
    )


def _without_place(setup: Setup) -> list[Caution]:
    if not setup.unplaced:
        return []
    names = [coral.name for coral in setup.unplaced]
    who = "1 coral has" if len(names) == 1 else f"{len(names)} corals have"
    text = f"{who} no place yet and stands in no figure: {_listed(names)}. `lightdose place` finds one."
    return [Caution("no_place", text, "the setup", tuple(names))]


def _mix_cautions(where: _Places, field: LightField, dose: Dose) -> list[Caution]:
    """Shares of PPFD over the day, at the sites that have light."""

    def daily(key: str) -> FloatArray:
        column: FloatArray = dose.weighted[:, field.weightings.index(key)]
        return column

    lit = daily("ppfd") > 0
    total = np.where(lit, daily("ppfd"), 1.0)
    blue, red, below_390 = daily("blue") / total, daily("red") / total, daily("below_390") / total
    tail = daily("uv_a") / total - below_390
    return [
        *where.caution(
            lit & (blue < LEAST_BLUE_SHARE),
            "little_blue",
            "Blue (400-500 nm) is under 30 % of the photons of 400-700 nm at {at}. Trials of colour at equal "
            "photons find little difference only while blue is present.",
            "threshold: our choice; Kinzie, Jokiel & York 1984, Mar Biol, 10.1007/BF00393009 (blue about "
            "equal to white for skeletal growth, green and red less)",
        ),
        *where.caution(
            lit & (red > MOST_RED_SHARE),
            "much_red",
            "Red (600-700 nm) is over 50 % of the photons of 400-700 nm at {at}. Red harmed one stony coral "
            "in a trial, and a half-and-half mix behaved like red.",
            "threshold: our choice; Wijgerde et al. 2014, PLoS ONE 9:e92781 (Stylophora pistillata)",
        ),
        *where.caution(
            lit & (below_390 > MOST_BELOW_390_SHARE),
            "ultraviolet",
            "Photons below 390 nm are more than 1 % of PPFD at {at}. Ultraviolet near 380 nm lowered "
            "calcification in a trial, and it is a danger to eyes.",
            "threshold: our choice; Roth et al. 1982, Pac Sci 36:65",
        ),
        *where.caution(
            lit & (tail > MOST_BELOW_390_SHARE),
            "violet_tail",
            "A note, no warning: photons of 390-400 nm, the tail of violet channels, are more than 1 % of "
            "PPFD at {at}; PPFD (400-700 nm) does not count them.",
            "our choice: the published evidence of harm is at 380 nm (Roth et al. 1982, Pac Sci 36:65)",
        ),
    ]


def _day_cautions(where: _Places, field: LightField, curve: DayCurve, dose: Dose) -> list[Caution]:
    lit = dose.any_light_h > 0
    ramps = np.any(curve.output_start != curve.output_end, axis=0)
    return [
        *where.caution(
            lit & (dose.photoperiod_h > LONGEST_DAY_H),
            "long_day",
            "Lit for more than 14 h at {at}. Corals and tank mates are usually given more dark than that.",
            f"lit: above 5 % of the peak; thresholds: our choice; {_PRACTICE}",
        ),
        *where.caution(
            dose.any_light_h >= HOURS_PER_DAY * (1 - 1e-9),
            "no_dark_hours",
            "No dark hours at {at}: some channel gives light around the clock.",
            f"our choice; {_PRACTICE}",
        ),
        *where.caution(
            lit & ~np.any(field.of("photons")[:, ramps] > 0, axis=1),
            "no_ramp",
            "The light at {at} switches on and off at once, without any ramp. Give it an hour or two to rise "
            "and to fall.",
            f"our choice; {_PRACTICE}",
        ),
    ]


def _change_cautions(setup: Setup, verdicts: tuple[Verdict, ...]) -> list[Caution]:
    dose_of = {v.coral: v.dli_mol_m2_d for v in verdicts}
    risen = [
        (coral.name, float(coral.previous), dose_of[coral.name])
        for coral in setup.corals
        if isinstance(coral.previous, float | int)
        and coral.name in dose_of
        and dose_of[coral.name] > coral.previous * (1 + STEP_ABOVE_RISE)
    ]
    if not risen:
        return []
    named = _listed(f"{name} (from {plain(before)} to {plain(now)})" for name, before, now in risen)
    return [
        Caution(
            "sudden_rise",
            f"More than 25 % above the daily dose they came from, in mol/m2/day: {named}. Bring them up in "
            "steps of 10 % a week; damage shows late.",
            f"{_PRACTICE}; no published paper gives a rule per week",
            tuple(name for name, _, _ in risen),
        )
    ]


def _beside_the_water(setup: Setup) -> list[Caution]:
    """Lit fixtures whose centre is outside the opening of the tank."""
    tank = setup.tank
    outside = [
        f.name for f in setup.lit_fixtures if not (0 <= f.x_m <= tank.length_m and 0 <= f.y_m <= tank.width_m)
    ]
    if not outside:
        return []
    return [
        Caution(
            "beside_the_water",
            f"Not above the water but beside it: {_listed(outside)}. Its light is computed from there, over "
            "the edge of the glass; mend its place if that is a slip.",
            "geometry of the setup",
        )
    ]


def _shade_words(setup: Setup) -> str:
    """By what shade counts in this tank."""
    if setup.standing is None:
        return "Shade by rocks and neighbours counts only through open_sky."
    return (
        "Rock and colonies shade as the shapes that the setup tells, with dull grey skins; where open_sky is "
        "written, it stands for them."
    )


def _limits(setup: Setup, verdicts: tuple[Verdict, ...]) -> list[Caution]:
    """What the numbers do not cover."""
    found = []
    if verdicts:
        found.append(
            Caution(
                "light_is_not_the_diagnosis",
                "Light is not the diagnosis: pale or closed corals have many causes (heat, nutrients, pests, "
                "salinity, a sudden change). These figures rule light in or out; they know no temperature, "
                "feeding, flow or disease, and heat multiplies light stress.",
                "limits of this model",
            )
        )
    if any(v.dli_state != "not_judged" for v in verdicts):
        found.append(
            Caution(
                "usual_is_practice",
                "Usual amounts are what keepers commonly give, not optima or limits of damage: the midday "
                "band of a group x 0.0324 (a day worth 9 h at its peak), rounded. Midday bands were read "
                "with hobby meters under mixed light, perhaps 10-30 % off.",
                _PRACTICE,
            )
        )
    found.extend(_beside_the_water(setup))
    found.append(
        Caution(
            "planar_ppfd",
            "PPFD and DLI are planar: on a flat spot that looks straight up, in clear water under a calm "
            "surface. A branch that takes light from all sides gets 1.1 to 2.1 times as much, a steep face "
            f"less. {_shade_words(setup)}",
            "computed by us with an independent photon-tracing simulation",
        )
    )
    return found


def calibration_cautions(calibration: Calibration) -> tuple[Caution, ...]:
    """What a calibration says of every light that stands on it.

    Returns
    -------
    tuple of Caution
        One for each fixture whose channels give less together, then what its file says besides.

    Source
    ------
    Shared power limits and heat: common practice, no published source for the size.
    """
    losses = [
        f"{t.fixture} gives {100 * (1 - t.factor):.0f} % less with many channels on than their single "
        "readings add up to (a shared power limit, or heat): doses use the smaller figure, so hours with few "
        f"channels on are {100 * (1 / t.factor - 1):.0f} % brighter than stated."
        for t in calibration.together
    ]
    source = f"the readings of {calibration.date}"
    return tuple(
        Caution("calibration", text, source) for text in dict.fromkeys((*losses, *calibration.cautions))
    )


def _stands_on(setup: Setup) -> list[Caution]:
    """Fluxes and beams that nobody measured, and what the calibration leaves open."""
    found = []
    calibration = setup.calibration
    if calibration is not None and (told := calibration_cautions(calibration)):
        found.append(replace(told[0], text=" ".join(c.text for c in told)))
    unread = [f for f in setup.lit_fixtures if calibration is None or not calibration.measures(f.name)]
    typical = [f.name for f in unread if any(c.flux is not None and c.flux.typical for c in f.type.channels)]
    if typical:
        found.append(
            Caution(
                "typical_flux",
                f"The light of {_listed(typical)} is computed from electrical power and a typical efficiency "
                "by colour, good to a factor of 2. One meter reading would settle it.",
                "efficiencies: our choice, from memory",
            )
        )
    stated = [f.name for f in unread if f.name not in typical]
    if stated:
        found.append(
            Caution(
                "unmeasured",
                f"Nobody measured the light of {_listed(stated)}: data sheets often state more than a warm "
                "fixture behind its cover gives. One meter reading at a coral would settle it.",
                "our choice: data-sheet values are taken as 0.6 to 1.05 true",
            )
        )
    assumed = [
        f.name
        for f in setup.lit_fixtures
        if any(isinstance(c.beam, CosineLobe) and c.beam.assumed for c in f.type.channels)
    ]
    if assumed:
        found.append(
            Caution(
                "assumed_beam",
                f"No beam is stated for {_listed(assumed)}: {DEFAULT_BEAM_FWHM_DEG:g} deg, a bare LED, is "
                "assumed. Lenses make it narrower and the middle brighter.",
                "our choice, from memory",
            )
        )
    partly = [f for f in setup.lit_fixtures if any(c.electrical_w is None for c in f.type.channels)]
    shared = [f.name for f in partly if f.type.electrical_w is not None]
    if shared:
        found.append(
            Caution(
                "energy_shared",
                f"The watts of {_listed(shared)} are known for the whole fixture: channels share them by the "
                "power of their light at full output, as if all were equally efficient. They are not, so a "
                "day far from that mix may take a third more or less.",
                "our choice; the third is our estimate, no published source",
            )
        )
    if shared or len(partly) < len(setup.lit_fixtures):
        found.append(
            Caution(
                "energy_by_output",
                "Energy and cost take power in proportion to output; driver losses, fans and standby are not "
                "counted.",
                "our choice, the simplest that needs only the power at full output",
            )
        )
    return found


SAFETY = (
    Caution(
        "safety_eyes",
        EYES,
        "V(lambda) is 0.038 at 450 nm against 1 at 555 nm, CIE 018:2019; behaviour: " + _PRACTICE,
    ),
    Caution(
        "safety_unplug",
        "Unplug before touching gear over the water, and touch it with dry hands.",
        _PRACTICE,
    ),
    Caution(
        "safety_water",
        "Give every cable a drip loop, feed it through residual-current protection, and secure hanging gear "
        "twice, so that it cannot fall into the tank.",
        _PRACTICE,
    ),
    Caution(
        "safety_codes",
        "Local codes and the maker's instructions come first; wiring is for a licensed electrician. These "
        "figures are estimates, no assessment to a safety standard.",
        _PRACTICE,
    ),
)
"""Short safety lines that go with every answer."""


def _safety(hazards: Sequence[DirectView]) -> list[Caution]:
    """The lines on safety; those of the fixtures' own hazard stand in for the general ones."""
    own = {line.code: line for line in short_lines(hazards)}
    first = [own.pop(line.code, line) for line in SAFETY[:1]]
    return [*first, *own.values(), *SAFETY[1:]]


def _listed(names: Iterable[str]) -> str:
    """Names with commas; a long list is cut and counted."""
    named = list(names)
    if len(named) <= _NAMED_AT_MOST:
        return ", ".join(named)
    return f"{', '.join(named[:_NAMED_AT_MOST])} and {len(named) - _NAMED_AT_MOST} more"
