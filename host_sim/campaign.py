"""Random trips: drawn from a scenario's spread, each from its own number alone, so that it is the same trip under any settings."""

from __future__ import annotations

import hashlib
import random
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit

from host_sim.car_spec import Quantity
from host_sim.catalogue import BY_ID, CATALOGUE
from host_sim.driver import load_driver
from host_sim.errors import InputError
from host_sim.faults import Fault
from host_sim.scenario import Scenario
from host_sim.spread import Spread
from host_sim.tables import Range

LAST_START_MIN = 0.5  # after the last stop: long enough to see what the pump gets from the lines

Places = Callable[[Range], float]


@dataclass(frozen=True)
class Trip:
    """One random trip: a scenario like any other, which `secondtank drive` runs to the same numbers."""

    number: int
    scenario: Scenario
    fault_ids: tuple[str, ...]

    @property
    def may_pass(self) -> frozenset[str]:
        """Hazards that the catalogue lets pass under this trip's faults."""
        return frozenset(hazard for name in self.fault_ids for hazard in BY_ID[name].may_pass)


def check_spread(scenario: Scenario, place: str) -> Spread:
    """The spread of a scenario. Raises InputError where it has none, or where car or driver do not take what it names."""
    spread = scenario.spread
    if spread is None:
        raise InputError(f"{place}: spread", "nothing", "a table [spread] to draw from, as winter_commute has")
    for name in spread.drivers:
        try:
            load_driver(name)
        except InputError as error:
            raise InputError(f"{place}: spread.drivers", error.value, error.wanted) from None
    try:
        spec = scenario.model_copy(update={"car_overrides": scenario.car_overrides | _lowest(spread.car)}).car_spec()
        # each range at one end and all others at the other: where two must keep an order, the worst that can be drawn
        for end in (0.0, 1.0):
            for odd in (None, *spread.car):
                ends = {key: found.at(1.0 - end if key == odd else end) for key, found in spread.car.items()}
                spec.with_values(ends, "an end of its range")
    except InputError as error:
        raise InputError(f"{place}: spread.car: {error.place}", error.value, error.wanted) from None
    return spread


def _lowest(ranges: dict[str, Range]) -> dict[str, Quantity]:
    return {key: Quantity(value=found.low, unit=found.unit, source=found.source) for key, found in ranges.items()}


def draw(base: Scenario, spread: Spread, seed: int, number: int, faults: int = 0) -> Trip:
    """Trip `number` of the campaign with this seed. `faults`: so many of the catalogue's, at random moments of its drives.

    Each actor draws from a stream of its own: a change to one leaves the others' numbers as they were.
    """
    streams = f"campaign {seed} trip {number}"
    source = f"drawn: campaign seed {seed}, trip {number}"
    weather, start, driver = (_places(random.Random(f"{streams} {actor}")) for actor in ("weather", "start", "driver"))
    soak_h = start(spread.soak_h)
    steps = _steps(spread, random.Random(f"{streams} steps"))
    fault_rng = random.Random(f"{streams} faults")
    entries = fault_rng.sample(CATALOGUE, faults)
    title = f"{base.title}, campaign seed {seed}, trip {number}"
    data: dict[str, Any] = base.model_dump(exclude={"spread"}) | {
        "title": ", ".join((title, *(entry.id for entry in entries))),
        "about": f"Drawn at random. {spread.about}",
        "driver": random.Random(f"{streams} driver file").choice(spread.drivers),
        "seed": random.Random(f"{streams} seed").getrandbits(31),
        "weather": {
            "ambient_c": _quantity(weather, spread.ambient_c, source),
            "swing_k": _quantity(weather, spread.swing_k, source),
            "start_hour": weather(spread.start_hour),
        },
        "start": {
            "oil_level": start(spread.oil_level),
            "diesel_level": start(spread.diesel_level),
            "filter_litres": start(spread.filter_litres),
            "soak_h": soak_h,
        },
        "cabin_heater": driver(spread.cabin_heater),
        "car_overrides": base.car_overrides | _drawn(spread.car, _places(random.Random(f"{streams} car")), source),
        "trip": steps,
        "faults": [
            *base.faults,
            *(_fault_row(entry.fault(1000 * round(_moment_s(steps, soak_h, fault_rng)))) for entry in entries),
        ],
        "sensors": _drawn(
            {name: found for name, found in spread.sensors if found is not None},
            _places(random.Random(f"{streams} sensors")),
            source,
        ),
    }  # fmt: skip
    return Trip(number, Scenario.model_validate(data), tuple(entry.id for entry in entries))


def _places(rng: random.Random) -> Places:
    """Draws numbers from ranges; those of one word share their place."""
    shared: dict[str, float] = {}

    def place(found: Range) -> float:
        share = rng.random()
        return found.at(share if found.together is None else shared.setdefault(found.together, share))

    return place


def _quantity(place: Places, found: Range, source: str) -> dict[str, Any]:
    return {"value": place(found), "unit": found.unit, "source": source}


def _drawn(ranges: dict[str, Range], place: Places, source: str) -> dict[str, Any]:
    return {name: Quantity.model_validate(_quantity(place, found, source)) for name, found in ranges.items()}


def _steps(spread: Spread, rng: random.Random) -> list[dict[str, Any]]:
    place = _places(rng)
    steps: list[dict[str, Any]] = [{"do": "selector", "position": "READY"}]
    for _ in range(round(place(spread.drives))):
        town = {
            "do": "drive",
            "minutes": place(spread.town_minutes),
            "pattern": "town",
            "speed_kmh": place(spread.town_kmh),
        }
        road = {
            "do": "drive",
            "minutes": place(spread.road_minutes),
            "pattern": "road",
            "speed_kmh": place(spread.road_kmh),
        }
        steps += [town, road]
        asks, forgets, drives_on = (rng.random() for _ in range(3))
        if asks < spread.asks_how_long.value:
            steps.append({"do": "press", "press": "short"})
        purge = "none" if forgets < spread.forgets_purge.value else "idle"
        if purge == "idle" and drives_on < spread.purges_driving.value:
            purge = "driving"
        steps.append({"do": "stop", "minutes": place(spread.stop_minutes), "purge": purge})
    steps.append({"do": "drive", "minutes": LAST_START_MIN, "pattern": "idle"})
    return steps


def _moment_s(steps: list[dict[str, Any]], soak_h: float, rng: random.Random) -> float:
    """A moment at which the trip drives, any of them as likely, in s of the scenario; what its purges take is left out."""
    left = rng.random() * sum(step["minutes"] for step in steps if step["do"] == "drive")
    passed = 60.0 * soak_h
    for step in steps:
        if step["do"] == "drive":
            if left <= step["minutes"]:
                break
            left -= step["minutes"]
        passed += step.get("minutes", 0.0)
    return 60.0 * (passed + left)


def _fault_row(fault: Fault) -> dict[str, Any]:
    seconds = None if fault.duration_ms is None else fault.duration_ms / 1000.0
    return {
        "kind": fault.kind, "channel": fault.channel, "other": fault.other, "size": fault.size,
        "onset_s": fault.onset_ms / 1000.0, "duration_s": seconds,
    }  # fmt: skip


def scenario_toml(scenario: Scenario) -> str:
    """The scenario as the file that `load_scenario` reads to the same scenario."""
    return tomlkit.dumps(_plain(scenario.model_dump(exclude_none=True, exclude_defaults=True)))


def _plain(value: Any) -> Any:
    if isinstance(value, list):
        return [_plain(part) for part in value]
    if not isinstance(value, dict):
        return value
    if set(value) == {"value", "unit", "source"}:
        table = tomlkit.inline_table()
        table.update(value)
        return table
    return {key: _plain(part) for key, part in value.items()}


def simulation_hash() -> str:
    """First 16 hexadecimal digits of the SHA-256 over the simulated car and its judges, as `firmware_hash` over the law."""
    folder = Path(__file__).parent
    digest = hashlib.sha256()
    for path in sorted([*folder.glob("*.py"), *folder.glob("cars/*.toml"), *folder.glob("drivers/*.toml")]):
        name = path.relative_to(folder).as_posix()
        digest.update(name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]
