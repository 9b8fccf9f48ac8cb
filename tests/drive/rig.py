"""Short drives for tests: scenarios written in code, a car that is warm already, a fork that goes on alone."""

from __future__ import annotations

import copy
from functools import lru_cache
from typing import Any

from host_sim.car import Car, Layout
from host_sim.drive import Drive
from host_sim.loop import TICK_S, Loop
from host_sim.profile import load_profile
from host_sim.scenario import Scenario

READY = {"do": "selector", "position": "READY"}
DIESEL = {"do": "selector", "position": "DIESEL"}
LONG, SHORT = {"do": "press", "press": "long"}, {"do": "press", "press": "short"}
PROFILES: dict[str, Layout] = {"full_guard": "tank_return", "looped": "looped_return", "three_sensors": "tank_return"}


def road(minutes: float, speed_kmh: float = 85.0, pattern: str = "road") -> dict[str, Any]:
    """A drive of a trip."""
    return {"do": "drive", "minutes": minutes, "pattern": pattern, "speed_kmh": speed_kmh}


def idle(minutes: float) -> dict[str, Any]:
    """A drive that does not move."""
    return {"do": "drive", "minutes": minutes, "pattern": "idle"}


def stop(minutes: float, purge: str = "none") -> dict[str, Any]:
    """Key off, with or without a purge before it."""
    return {"do": "stop", "minutes": minutes, "purge": purge}


def story(
    *trip: dict[str, Any],
    ambient_c: float = 20.0,
    profile: str = "full_guard",
    faults: tuple[dict[str, Any], ...] = (),
    **start: float,
) -> Scenario:
    """A scenario of the default car in steady weather."""
    return Scenario.model_validate(
        {
            "title": "A test's own", "about": "Invented for a test.", "car": "estate_1_9", "driver": "calm",
            "layout": PROFILES[profile], "profile": profile, "seed": 7,
            "weather": {
                "ambient_c": {"value": ambient_c, "unit": "degC", "source": "invented"},
                "swing_k": {"value": 0, "unit": "K", "source": "invented"}, "start_hour": 8.0,
            },
            "start": start, "trip": list(trip), "faults": list(faults),
        }
    )  # fmt: skip


def drive_of(scenario: Scenario, *changes: str, warm: bool = False, **how: Any) -> Drive:
    """The drive before its first tick; `warm`: in a car whose oil is hot and whose lines hold diesel."""
    drive = Drive(scenario, load_profile(scenario.profile, changes), **how)
    if warm:
        drive.car.__dict__.update(copy.deepcopy(_warm_car(scenario.layout)).__dict__)
    return drive


@lru_cache(maxsize=2)
def _warm_car(layout: Layout) -> Car:
    """Driven on diesel on a summer's day until the oil is hot as far as the pump side of the filter, key off."""
    profile = next(name for name, plumbing in PROFILES.items() if plumbing == layout)
    drive = drive_of(story(DIESEL, road(40.0, 100.0), stop(1.0), ambient_c=25.0, profile=profile))
    drive.run()
    return drive.car


def on_oil(profile: str = "full_guard", *changes: str) -> Loop:
    """A fork of a warm car on oil at a steady speed, nothing found yet; nobody sits in it."""
    twin = _on_oil(profile, *changes).fork()
    twin.monitors.found.clear()
    return twin


@lru_cache(maxsize=4)
def _on_oil(profile: str, *changes: str) -> Drive:
    drive = drive_of(story(DIESEL, idle(0.1), READY, road(30.0), profile=profile), *changes, warm=True)
    drive.run(120.0)
    assert drive.car.engine_running
    assert drive.car.supply_valve_pos == 1.0
    return drive


def coast(drive: Loop, seconds: float) -> None:
    """Ticks without any actor: hands and faults stay as a test leaves them."""
    for _ in range(round(seconds / TICK_S)):
        drive.tick()


def states(drive: Loop) -> list[tuple[str, str]]:
    """The transitions, refusals left out."""
    return [(move.before, move.after) for move in drive.totals.moves if not move.refused]
