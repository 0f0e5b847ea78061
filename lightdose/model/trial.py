"""A published trial of dose and growth."""

from __future__ import annotations

from lightdose.errors import LightdoseError
from lightdose.model.record import dataclass


@dataclass(frozen=True)
class TrialLight:
    """What one light of the trial gave.

    Attributes
    ----------
    dli_mol_m2_d : daily dose. [mol m-2 d-1]
    growth_mg_g_d : median growth. [mg g-1 d-1]
    tissue_loss_fraction : corals with any loss of tissue, 0-1
    """

    dli_mol_m2_d: float
    growth_mg_g_d: float
    tissue_loss_fraction: float


@dataclass(frozen=True)
class GrowthTrial:
    """Corals of one species under several lights, dimmest first.

    Attributes
    ----------
    means : what made the lights differ, in words
    growth_days, tissue_loss_days : when growth ended, and by when tissue was lost. [d]
    corals_each : least and most corals under one light
    not_controlled : what else may have differed, in words
    """

    species: str
    means: str
    growth_days: int
    tissue_loss_days: int
    corals_each: tuple[int, int]
    not_controlled: str
    source: str
    lights: tuple[TrialLight, ...]

    def __post_init__(self) -> None:
        doses = [light.dli_mol_m2_d for light in self.lights]
        if len(doses) < 2 or doses != sorted(set(doses)) or doses[0] <= 0:
            raise LightdoseError("a trial needs two lights or more, with doses above 0 that rise")

    @property
    def dose_ratio(self) -> float:
        """Most over least dose."""
        return self.lights[-1].dli_mol_m2_d / self.lights[0].dli_mol_m2_d

    @property
    def growth_ratio(self) -> float:
        """Median growth at the most over that at the least dose."""
        return self.lights[-1].growth_mg_g_d / self.lights[0].growth_mg_g_d
