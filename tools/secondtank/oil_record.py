"""The record of batches and of what is in the tank: a TOML file that grows at its end and can be corrected by hand."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any, Literal

import tomlkit
from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError
from tomlkit.items import AoT
from tomlkit.items import Table as Items

from host_sim.errors import InputError
from host_sim.oil_batch import DIESEL, Batch, Tank, water_by_weighing
from host_sim.oil_curve import family_named
from host_sim.scenario import load_table
from host_sim.tables import Table
from secondtank.oil import Measured, curve_of, readings_of
from secondtank.oil_settings_file import write_whole

_NAME = r"^[^=\n]{1,60}$"


class Weighing(Table):
    """A sample weighed before and after heating, and the scale's division; g."""

    before_g: float
    after_g: float
    division_g: float


class BatchRow(Table):
    """One batch as it came and as it was treated. What is left out, nobody looked at."""

    name: str = Field(pattern=_NAME)
    on: date
    origin: str = Field(min_length=2, max_length=200)
    litres: float = Field(gt=0, le=5000)
    family: str = "frying"
    fresh: bool = False
    settling_days: float | None = Field(None, ge=0, le=3650)
    filter_um: list[float] = Field(default_factory=list)
    weighing: Weighing | None = None
    sediment_ml_l: float | None = Field(None, ge=0, le=1000)
    points: list[str] = Field(default_factory=list)
    cups: list[str] = Field(default_factory=list)
    seconds: list[str] = Field(default_factory=list)
    at: list[str] = Field(default_factory=list)

    @model_validator(mode="after")
    def _finer_and_finer(self) -> BatchRow:
        steps = self.filter_um
        if any(step <= 0 for step in steps) or steps != sorted(steps, reverse=True):
            raise PydanticCustomError(
                "steps", "", {"at": "filter_um", "found": steps, "wanted": "filter steps in um, from coarse to fine"}
            )
        if self.name == DIESEL:
            raise PydanticCustomError("name", "", {"at": "name", "found": DIESEL, "wanted": "a name for oil"})
        return self

    @property
    def measured(self) -> Measured:
        """Its readings as they were typed."""
        return Measured(tuple(self.points), tuple(self.cups), tuple(self.seconds), tuple(self.at))

    def batch(self) -> Batch:
        """What can be judged of it. Raises InputError."""
        curve, _ = curve_of(readings_of(self.measured), family_named(self.family), self.fresh)
        weighed = self.weighing
        return Batch(
            self.name, self.litres, self.settling_days, tuple(self.filter_um),
            water_by_weighing(weighed.before_g, weighed.after_g, weighed.division_g) if weighed else None,
            self.sediment_ml_l, curve,
        )  # fmt: skip


class TankRow(Table):
    """What happened to the oil tank: oil of a batch or diesel came in, or so much was left."""

    on: date
    did: Literal["fill", "left"]
    litres: float = Field(ge=0, le=1000)
    name: str = DIESEL


class OilRecord(Table):
    """The whole file."""

    batch: list[BatchRow] = Field(default_factory=list)
    tank: list[TankRow] = Field(default_factory=list)

    def row(self, name: str) -> BatchRow | None:
        """The batch of this name."""
        return next((row for row in self.batch if row.name == name), None)

    def contents(self) -> Tank:
        """The tank after all that was recorded. Raises InputError with the entry that cannot be."""
        tank = Tank()
        poured: dict[str, float] = {}
        for number, row in enumerate(self.tank, 1):
            try:
                if row.did == "left":
                    tank.leave(row.litres)
                    continue
                self._check_fill(row, poured)
                tank.fill(row.name, row.litres)
            except InputError as error:
                raise InputError(f"tank[{number}]: {error.place}", error.value, error.wanted) from None
        return tank

    def _check_fill(self, row: TankRow, poured: dict[str, float]) -> None:
        if row.name == DIESEL:
            return
        batch = self.row(row.name)
        if batch is None:
            known = ", ".join(other.name for other in self.batch) or "none yet"
            raise InputError("batch", row.name, f"diesel, or one that is recorded: {known}")
        poured[row.name] = poured.get(row.name, 0.0) + row.litres
        if poured[row.name] > batch.litres + 1e-6:
            raise InputError(f"litres poured of {row.name}", poured[row.name], f"at most the {batch.litres:g} L it had")


def read_record(path: Path) -> OilRecord:
    """The record, empty where there is no file yet. Raises InputError."""
    return load_table(path, OilRecord, "an oil record") if path.exists() else OilRecord()


def append(path: Path, what: Literal["batch", "tank"], row: Table) -> OilRecord:
    """Put one entry at the end; the record with it. Raises InputError, and leaves the file as it was, where they do not fit."""
    before = read_record(path)
    after = before.model_copy(update={what: [*getattr(before, what), row]})
    after.contents()
    document = tomlkit.parse(path.read_text(encoding="utf-8")) if path.exists() else tomlkit.document()
    entries = document.get(what)
    if not isinstance(entries, AoT):
        entries = tomlkit.aot()
        document[what] = entries
    entry = tomlkit.item(_plain(row))
    if isinstance(entry, Items):
        entry.add(tomlkit.nl())
    entries.append(entry)
    write_whole(path, tomlkit.dumps(document))
    return after


def _plain(row: Table) -> dict[str, Any]:
    return {name: value for name, value in row.model_dump().items() if value not in (None, [])}
