"""A scenario as data: whose car, which weather, what the driver does in which order, what breaks. Read from TOML.

The scenarios that come with the project are invented.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

from pydantic import BaseModel, Field, ValidationError, model_validator
from pydantic_core import PydanticCustomError

from host_sim.car_spec import CarSpec, Quantity, load_car
from host_sim.errors import InputError
from host_sim.faults import Fault
from host_sim.spread import Spread
from host_sim.tables import Name, Table, quantity

_HERE = Path(__file__).parent
SCENARIOS = _HERE / "scenarios"
CARS = _HERE / "cars"
DRIVERS = _HERE / "drivers"
PROFILES = _HERE / "profiles"
LONGEST_TRIP_H = 24 * 30


class Weather(Table):
    """Mean ambient, its daily swing from coldest to warmest hour, and the hour at which the scenario begins."""

    ambient_c: Annotated[Quantity, quantity("degC", -40, 50)]
    swing_k: Annotated[Quantity, quantity("K", 0, 30)]
    start_hour: float = Field(ge=0, lt=24)


class Start(Table):
    """The car before the first step: tank levels 0..1, litres through the oil filter, hours parked in this weather."""

    oil_level: float = Field(0.7, ge=0, le=1)
    diesel_level: float = Field(0.7, ge=0, le=1)
    filter_litres: float = Field(0.0, ge=0, le=20000)
    soak_h: float = Field(0.0, ge=0, le=240)


class Drive(Table):
    """Drive: `town` (legs between halts), `road` (no halts), `hill` (as road, more uneven), `idle` (standing).

    speed_kmh: what the driver aims at between halts; grade_percent: positive uphill.
    """

    do: Literal["drive"]
    minutes: float = Field(gt=0, le=60 * 24)
    pattern: Literal["town", "road", "hill", "idle"]
    speed_kmh: float = Field(0.0, ge=0, le=180)
    grade_percent: float = Field(0.0, ge=-15, le=15)

    @model_validator(mode="after")
    def _speed_fits(self) -> Drive:
        low, high = (0, 0) if self.pattern == "idle" else (10, 180)
        if not low <= self.speed_kmh <= high:
            wanted = "0, or left out, for pattern idle" if high == 0 else f"10 to 180 km/h for pattern {self.pattern}"
            raise PydanticCustomError("speed", "", {"at": "speed_kmh", "found": self.speed_kmh, "wanted": wanted})
        return self


class Stop(Table):
    """Key off and wait. `purge`: the driver first asks for a purge and waits for its end, standing at `idle` or still
    `driving` around, at most purge_wait_min; `none`: he just turns the key."""

    do: Literal["stop"]
    minutes: float = Field(gt=0, le=60 * 24 * 14)
    purge: Literal["none", "idle", "driving"] = "none"
    purge_wait_min: float = Field(10.0, gt=0, le=120)


class Press(Table):
    """Press the "stopping soon" button."""

    do: Literal["press"]
    press: Literal["short", "long"]


class Selector(Table):
    """Turn the selector."""

    do: Literal["selector"]
    position: Literal["READY", "DIESEL"]


Step = Annotated[Drive | Stop | Press | Selector, Field(discriminator="do")]


class FaultRow(Table):
    """One fault of the catalogue's vocabulary (`host_sim.faults.KINDS`); times in s from the start of the scenario."""

    kind: str
    channel: str | None = None
    other: str | None = None
    size: float | None = None
    onset_s: float = Field(ge=0)
    duration_s: float | None = Field(None, gt=0)

    @model_validator(mode="after")
    def _fits(self) -> FaultRow:
        try:
            self.as_fault()
        except InputError as error:
            at = error.place.partition(": ")[2] or "kind"
            raise PydanticCustomError("fault", "", {"at": at, "found": error.value, "wanted": error.wanted}) from None
        return self

    def as_fault(self) -> Fault:
        """The fault as the injector takes it, times in ms."""
        duration_ms = None if self.duration_s is None else max(1, round(1000 * self.duration_s))
        return Fault(self.kind, self.channel, self.size, round(1000 * self.onset_s), duration_ms, self.other)


class Sensors(Table):
    """What a sensor always reads beside the truth, being within its tolerance: no fault. Left out: nothing."""

    coolant: Annotated[Quantity, quantity("K", -5, 5)] | None = None
    oil: Annotated[Quantity, quantity("K", -5, 5)] | None = None
    oil_tank: Annotated[Quantity, quantity("K", -5, 5)] | None = None
    pump_inlet: Annotated[Quantity, quantity("K", -5, 5)] | None = None
    ambient: Annotated[Quantity, quantity("K", -5, 5)] | None = None
    suction: Annotated[Quantity, quantity("kPa", -5, 5)] | None = None

    def offsets(self) -> dict[str, float]:
        """Channel -> K or kPa, of those that are off."""
        found: dict[str, Quantity] = {name: size for name, size in self if size is not None}
        return {name: size.value for name, size in found.items()}


class Scenario(Table):
    """One story. `car_overrides`: dotted key of the car file -> Quantity that takes its place. `spread`: what random
    trips of its kind are drawn from."""

    title: str = Field(min_length=3)
    about: str = Field(min_length=3)
    car: Name
    driver: Name
    layout: Literal["tank_return", "looped_return"]
    profile: Name
    seed: int = Field(ge=0)
    weather: Weather
    start: Start = Start()  # pyright: ignore[reportCallIssue]
    cabin_heater: float = Field(0.0, ge=0, le=1)
    lights: bool = False
    car_overrides: dict[str, Quantity] = Field(default_factory=dict)
    trip: list[Step] = Field(min_length=1)
    faults: list[FaultRow] = Field(default_factory=list)
    sensors: Sensors = Sensors()
    spread: Spread | None = None

    @property
    def minutes(self) -> float:
        """Time that the trip's drives and stops take, without soak and purges."""
        return sum(step.minutes for step in self.trip if isinstance(step, Drive | Stop))

    @model_validator(mode="after")
    def _short_enough(self) -> Scenario:
        hours = self.minutes / 60.0
        if hours > LONGEST_TRIP_H:
            wanted = f"at most {LONGEST_TRIP_H} h in all"
            raise PydanticCustomError("long", "", {"at": "trip", "found": f"{hours:g} h", "wanted": wanted})
        return self

    def car_spec(self) -> CarSpec:
        """The car of this scenario with its overrides. Raises InputError."""
        spec = load_car(file_of(CARS, self.car, "car"))
        for key, value in self.car_overrides.items():
            table: Any = spec
            for part in key.split("."):
                table = getattr(table, part, None)
            changed = spec.with_values({key: value.value}, value.source)
            if table.unit != value.unit:
                raise InputError(f"car_overrides.{key}.unit", value.unit, f"unit {table.unit!r}, as in the car file")
            spec = changed
        return spec

    def fault_list(self) -> list[Fault]:
        """The faults as the injector takes them."""
        return [row.as_fault() for row in self.faults]


def file_of(folder: Path, name: str, what: str) -> Path:
    """The TOML file `name` of one of the project's own folders. Raises InputError that lists what there is."""
    path = folder / f"{name}.toml"
    if not path.is_file():
        raise InputError(what, name, "one of " + ", ".join(names_in(folder)))
    return path


def names_in(folder: Path) -> list[str]:
    """Names of the TOML files of a folder, sorted."""
    return sorted(path.stem for path in folder.glob("*.toml"))


def load_scenario(path_or_name: str | Path) -> Scenario:
    """A scenario by its file or by the name of one of the project's own. Raises InputError with file, key, value."""
    text = str(path_or_name)
    path = Path(text)
    if not path.suffix and path.name == text and not path.is_file():
        path = file_of(SCENARIOS, text, "scenario")
    scenario = load_table(path, Scenario, "a scenario")
    try:
        scenario.car_spec()
        file_of(DRIVERS, scenario.driver, "driver")
    except InputError as error:
        raise InputError(f"{path}: {error.place}", error.value, error.wanted) from None
    return scenario


_Model = TypeVar("_Model", bound=BaseModel)


def load_table(path: Path, model: type[_Model], what: str) -> _Model:
    """One TOML file as `model`. Raises InputError for the first thing that is wrong."""
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = (error.strerror or str(error)) if isinstance(error, OSError) else "not UTF-8 text"
        raise InputError(str(path), reason, f"a readable TOML file with {what}") from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(str(path), str(error), "TOML") from None
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise _first_error(error, path, data) from None


def _first_error(error: ValidationError, path: Path, data: dict[str, Any]) -> InputError:
    errors = error.errors(include_url=False)
    # A misspelt key is also a missing one; the spelling is what the reader can mend.
    first = next((row for row in errors if row["type"] == "extra_forbidden"), errors[0])
    context = first.get("ctx", {})
    key = _key(first["loc"], data)
    found: object = first["input"]
    if "at" in context:
        key = f"{key}.{context['at']}" if key else context["at"]
        found, wanted = context["found"], context["wanted"]
    elif first["type"] == "extra_forbidden":
        found, wanted = first["loc"][-1], "no such key (a misspelling?)"
    elif first["type"] == "missing":
        found, wanted = "nothing", f"the key {first['loc'][-1]!r}"
    elif first["type"].startswith("union_tag"):
        found = found.get("do", "nothing") if isinstance(found, dict) else found
        key, wanted = f"{key}.do", "one of drive, stop, press, selector"
    elif first["type"] == "model_type":
        wanted = "a table"
    else:
        wanted = first["msg"][0].lower() + first["msg"][1:]
    return InputError(f"{path}: {key}", found, wanted)


def _key(loc: tuple[int | str, ...], data: Any) -> str:
    """Dotted key as the reader finds it in the file: list rows counted from 1, without pydantic's union tags."""
    key = ""
    for part in loc:
        if isinstance(part, int):
            key += f"[{part + 1}]"
            data = data[part] if isinstance(data, list) and part < len(data) else None
        elif isinstance(data, dict) and part == data.get("do"):
            continue
        else:
            key += f".{part}" if key else part
            data = data.get(part) if isinstance(data, dict) else None
    return key
