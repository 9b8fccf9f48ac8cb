"""What every table of a scenario or driver file shares: nothing unknown in it, and each number with its unit and source."""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints, model_validator
from pydantic_core import PydanticCustomError

from host_sim.car_spec import Quantity

Name = Annotated[str, StringConstraints(pattern=r"^[a-z0-9_]+$")]


class Table(BaseModel):
    """Base of every table of a scenario or driver file: unknown keys and wrong types are refused."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


def quantity(unit: str, low: float, high: float) -> AfterValidator:
    """Validator of a Quantity that must come in `unit` and lie from `low` to `high`."""

    def check(found: Quantity) -> Quantity:
        _in_unit(found.unit, unit)
        _within(found.value, "value", low, high, unit)
        return found

    return AfterValidator(check)


class Range(Table):
    """Where a random number lies: evenly from `low` to `high`, or evenly in its logarithm (`shape`).

    Ranges of one scenario that carry the same word as `together` take the same place between their ends in one trip.
    """

    low: float = Field(allow_inf_nan=False)
    high: float = Field(allow_inf_nan=False)
    unit: str
    source: str = Field(min_length=3)
    shape: Literal["even", "log"] = "even"
    together: str | None = None

    @model_validator(mode="after")
    def _ordered(self) -> Range:
        if self.high < self.low:
            wanted = f"at least low, {self.low:g}"
            raise PydanticCustomError("order", "", {"at": "high", "found": self.high, "wanted": wanted})
        if self.shape == "log" and self.low <= 0.0:
            raise PydanticCustomError(
                "log", "", {"at": "low", "found": self.low, "wanted": "more than 0 for shape log"}
            )
        return self

    def at(self, place: float) -> float:
        """The number at `place` 0..1, six digits of it, so that it can be read in a file."""
        if self.shape == "log":
            number = math.exp(math.log(self.low) + place * (math.log(self.high) - math.log(self.low)))
        else:
            number = self.low + place * (self.high - self.low)
        return float(f"{number:.6g}")


def span(unit: str, low: float, high: float) -> AfterValidator:
    """Validator of a Range that must come in `unit` and lie from `low` to `high`."""

    def check(found: Range) -> Range:
        _in_unit(found.unit, unit)
        _within(found.low, "low", low, high, unit)
        _within(found.high, "high", low, high, unit)
        return found

    return AfterValidator(check)


def _in_unit(found: str, unit: str) -> None:
    if found != unit:
        raise PydanticCustomError("unit", "", {"at": "unit", "found": found, "wanted": f"unit {unit!r}"})


def _within(found: float, at: str, low: float, high: float, unit: str) -> None:
    if not low <= found <= high:
        raise PydanticCustomError("range", "", {"at": at, "found": found, "wanted": f"{low:g} to {high:g} {unit}"})
