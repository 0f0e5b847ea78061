"""`meter`: what one reading stands for, by which factors, and whether the setup's own model agrees."""

from __future__ import annotations

from typing import Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Points, Say
from lightdose.answers.field import Field, as_json
from lightdose.answers.words import PPFD_UNIT, as_typed, number, percent
from lightdose.model.results import BasisKey
from lightdose.model.setup import Setup
from lightdose.model.spectrum import MeterAnswer

MIX_SHOWN: Final = 4

# fmt: off
FIELDS: Final = (
    Field("ppfd_umol_m2_s", "PPFD", lambda m: m.ppfd_umol_m2_s, "ppfd"),
    Field("interval_95", "95 %", lambda m: m.interval_95, "ppfd"),
    Field("spectral_factor", "spectral factor", lambda m: m.spectral_factor,
          what="under the mix that was on; for lux together with umol m-2 s-1 per lx"),
    Field("immersion_factor", "immersion", lambda m: m.immersion_factor, what="null in air"),
    Field("reading", "reading", lambda m: m.reading),
    Field("unit", "unit", lambda m: "lux" if m.unit == "lux" else "umol_m2_s"),
    Field("meter", "meter", lambda m: m.meter),
    Field("where", "where", lambda m: m.where),
    Field("time_h", "time", lambda m: m.time_h, what="of the mix", unit="h"),
    Field("mix", "mix", lambda m: [{"channel": name, "share": share} for name, share in m.mix]),
    Field("model_ppfd_umol_m2_s", "model", lambda m: m.model_ppfd_umol_m2_s, "ppfd"),
    Field("assumed", "assumed", lambda m: m.assumed, what="what was taken for granted"),
)
# fmt: on


def meter_answer(read: MeterAnswer, setup: Setup, basis: BasisKey) -> Answer:
    """The figure first, how it comes about, and beside it what the setup's model says."""
    mix = ", ".join(f"{name} {percent(share)}" for name, share in read.mix[:MIX_SHOWN])
    return Answer(
        "meter",
        (
            Say(_headline(read), "strong"),
            Say(_factors(read)),
            Say(f"The mix: {mix}{' and others' if len(read.mix) > MIX_SHOWN else ''}."),
            Points.of(f"Assumed: {sentence}." for sentence in read.assumed),
            Say(_beside_the_model(read, setup), "verdict"),
        ),
        lambda: as_json(FIELDS, read),
        title=setup.title,
        basis=basis,
        setups=(setup,),
    )


def _headline(read: MeterAnswer) -> str:
    low, high = read.interval_95
    unit = "lx" if read.unit == "lux" else PPFD_UNIT
    return (
        f"{number(read.reading)} {unit} at {read.where} stands for {number(read.ppfd_umol_m2_s)} {PPFD_UNIT} "
        f"PPFD (95 %: {number(low)} to {number(high)})."
    )


def _factors(read: MeterAnswer) -> str:
    what = f"{PPFD_UNIT} per lx under this mix" if read.unit == "lux" else "spectral factor under this mix"
    steps = [f"{_factor(read.spectral_factor)} {what}"]
    if read.immersion_factor is not None:
        built_in = " (built into the meter)" if read.immersion_factor == 1 else ""
        steps.append(f"{_factor(read.immersion_factor)} immersion{built_in}")
    return f"Reading times {', times '.join(steps)}."


def _factor(value: float) -> str:
    return f"{value:.3f}" if value >= 0.1 else f"{value:.4f}"


def _beside_the_model(read: MeterAnswer, setup: Setup) -> str:
    low, high = read.interval_95
    model = read.model_ppfd_umol_m2_s
    lead = f"The setup's own model says {number(model)} {PPFD_UNIT} here"
    if low <= model <= high:
        return f"{lead}: the reading agrees."
    following = f"lightdose survey {as_typed(setup.path or 'setup.toml')}"
    return f"{lead}: outside that interval, so calibrate would change it. Next: {following}"
