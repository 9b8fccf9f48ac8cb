"""A batch of oil: how dry, how clean, good enough for the tank? And what the batches in the tank make together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from host_sim.errors import InputError
from host_sim.fluids import diesel_density_kg_m3, oil_density_kg_m3
from host_sim.oil_curve import DIESEL_CURVE, Curve, Mixture

MET, NOT_MET, CANNOT_TELL = "met", "not met", "cannot tell"
DIESEL = "diesel"
SAMPLE_G = (50.0, 600.0)  # a small quantity: what boils over is hot oil
_DIVISIONS = 2.0  # judgement: each of the two weighings is right to one division
_DROP_L = 1e-6


@dataclass(frozen=True)
class Water:
    """Water in a sample by weighing it before and after heating, % of mass: found, and what it may be, given the scale."""

    found: float
    lowest: float
    highest: float

    @property
    def resolved(self) -> float:
        """The smallest amount (% of mass) that this scale tells from nothing with this sample."""
        return self.highest - self.found


def water_by_weighing(before_g: float, after_g: float, division_g: float) -> Water:
    """Loss of weight as water; whatever else boils off counts as water too. Masses of the oil alone. Raises InputError."""
    low, high = SAMPLE_G
    if not low <= before_g <= high:
        raise InputError("sample before heating", before_g, f"{low:g} to {high:g} g: a small quantity")
    if not 0.0 < division_g <= 10.0:
        raise InputError("division of the scale", division_g, "more than 0, at most 10 g")
    unsure_g = _DIVISIONS * division_g
    if not 0.0 < after_g <= before_g + unsure_g:
        raise InputError("sample after heating", after_g, f"more than 0, and not heavier than before, {before_g:g} g")
    lost_g = before_g - after_g
    as_percent = 100.0 / before_g
    return Water(
        max(0.0, lost_g) * as_percent,
        max(0.0, lost_g - unsure_g) * as_percent,
        (max(0.0, lost_g) + unsure_g) * as_percent,
    )


@dataclass(frozen=True)
class Limit:
    """One limit of acceptance: at most `value`, or at least. `target`: good to know, decides nothing."""

    key: str
    name: str
    value: float
    unit: str
    source: str
    target: bool = False
    at_least: bool = False

    def judge(self, found: tuple[float, float] | None) -> str:
        """MET or NOT_MET where all of what it may be, from and to, lies on one side; else CANNOT_TELL."""
        if found is None:
            return CANNOT_TELL
        inside = {edge >= self.value if self.at_least else edge <= self.value for edge in found}
        return CANNOT_TELL if len(inside) > 1 else MET if inside.pop() else NOT_MET


_RAPESEED = "DIN V 51605 (2006), a standard of fresh rapeseed oil as fuel: a target only, used oil is outside it"
LIMITS = (
    Limit("filter_um", "last filter, nominal", 10.0, "um", "common practice, no source"),
    Limit("settling_days", "settling", 7.0, "days", "judgement", at_least=True),
    Limit("water", "water", 0.1, "% of mass", "judgement: used oil looks clear with more than fresh oil can dissolve"),
    Limit("sediment_ml_l", "sediment after a warm day", 0.1, "mL/L", "judgement: none to be seen"),
    Limit("water_target", "water", 0.075, "% of mass", _RAPESEED, target=True),
    Limit("nu40", "viscosity at 40 degC", 36.0, "mm2/s", _RAPESEED, target=True),
)


@dataclass(frozen=True)
class Judged:
    """A limit, what was found (from, to; None where nobody measured), and whether it is met."""

    limit: Limit
    found: tuple[float, float] | None
    verdict: str


@dataclass(frozen=True)
class Batch:
    """What is known of a batch. None: nobody looked."""

    name: str
    litres: float
    settling_days: float | None
    filter_um: tuple[float, ...]
    water: Water | None
    sediment_ml_l: float | None
    curve: Curve

    def judged(self) -> list[Judged]:
        """Every limit, in the order of LIMITS."""
        found = {
            "filter_um": _span(self.filter_um[-1] if self.filter_um else None),
            "settling_days": _span(self.settling_days),
            "water": None if self.water is None else (self.water.lowest, self.water.highest),
            "sediment_ml_l": _span(self.sediment_ml_l),
            "nu40": (self.curve.thin(40.0), self.curve.thick(40.0)),
        }
        found["water_target"] = found["water"]
        return [Judged(limit, found[limit.key], limit.judge(found[limit.key])) for limit in LIMITS]

    def accepted(self) -> str:
        """MET, NOT_MET or CANNOT_TELL, by the limits that decide; one that is not met outweighs one that is not known."""
        verdicts = {judged.verdict for judged in self.judged() if not judged.limit.target}
        return next(verdict for verdict in (NOT_MET, CANNOT_TELL, MET) if verdict in verdicts)


def _span(value: float | None) -> tuple[float, float] | None:
    return None if value is None else (value, value)


@dataclass
class Tank:
    """Litres of each batch, and of diesel, in the oil tank; what comes in is mixed with all that is there."""

    litres: dict[str, float] = field(default_factory=dict)

    @property
    def content_l(self) -> float:
        """All that is in it."""
        return sum(self.litres.values())

    def fill(self, name: str, litres: float) -> None:
        """Pour in oil of a batch, or diesel (a blend; a purge that came back). Raises InputError."""
        if not litres > 0.0:
            raise InputError(f"litres of {name}", litres, "more than 0")
        self.litres[name] = self.litres.get(name, 0.0) + litres

    def leave(self, litres: float) -> None:
        """So much is left, whatever it was spent on. Raises InputError."""
        content = self.content_l
        if not 0.0 <= litres <= content + _DROP_L:
            raise InputError("litres left", litres, f"0 to {content:.1f}, what was in the tank")
        self.litres = {name: part * litres / content for name, part in self.litres.items()} if litres else {}

    def shares(self) -> dict[str, float]:
        """Fraction of the content by name. Raises InputError for an empty tank."""
        content = self.content_l
        if not content > _DROP_L:
            raise InputError("content of the tank", content, "a tank with something in it")
        return {name: part / content for name, part in self.litres.items()}

    def curve(self, batches: Sequence[Batch]) -> Curve:
        """The mixture's curve."""
        curves = {batch.name: batch.curve for batch in batches} | {DIESEL: DIESEL_CURVE}
        masses = {
            name: share * (diesel_density_kg_m3(15.0) if name == DIESEL else oil_density_kg_m3(15.0))
            for name, share in self.shares().items()
        }
        whole = sum(masses.values())
        return Mixture(tuple((mass / whole, curves[name]) for name, mass in masses.items()))
