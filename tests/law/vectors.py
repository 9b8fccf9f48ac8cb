"""Recorded vectors for the law: stories that walk through every state, seeded noise, a commute. The form: `replay`.

python -m tests.law.vectors FILE
"""

from __future__ import annotations

import copy
import json
import random
import sys
from collections.abc import Callable
from unittest.mock import patch

from changeover.inputs import BONNET, BRAKE, ENGINE, KEY, NEUTRAL, READY
from changeover.law import Law
from changeover.memory import Record
from changeover.sensing import NO_ANSWER, OIL, PUMP_INLET
from changeover.settings import LOOPED_RETURN, PERMIT, defaults
from host_sim import virtual_board
from host_sim.drive import Drive
from host_sim.profile import load_profile
from host_sim.scenario import load_scenario
from tests.law import rig as bench
from tests.law.rig import HOT_ENGINE, OPEN_COUNTS, Rig

WRAP = 2**30


def recorded(story: Callable[[], None]) -> list[list]:
    """The rows of all that any law is fed while `story` runs, on the test bench or on a simulated board."""
    rows: list[list] = []

    class RecordedLaw(Law):
        def __init__(self, values: dict[str, int], record: Record, valid: bool = True, restarted: bool = False) -> None:
            usual = defaults()
            rows.extend(["set", name, value] for name, value in values.items() if value != usual[name])
            slot = copy.copy(record)
            slot.refused()  # `encode` counts on: its bytes then carry this record's own number
            rows.append(["boot", slot.encode().hex(), valid, restarted])
            super().__init__(values, record, valid, restarted)

        def step(self, now_ms: int, counts: list[int], levels: list[bool]) -> None:
            rows.append(["tick", now_ms, counts.copy(), levels.copy(), ""])
            super().step(now_ms, counts, levels)

        def write_record(self) -> bytes:
            rows[-1][-1] += "w"
            return super().write_record()

        def written(self, succeeded: bool) -> None:
            rows[-1][-1] += "01"[succeeded]
            super().written(succeeded)

    with patch.object(bench, "Law", RecordedLaw), patch.object(virtual_board, "Law", RecordedLaw):
        story()
    return rows


def trips() -> None:
    """Cold start, oil, a forgotten purge, its end on the next trip; the tick counter wraps in fill and purge."""
    for before_wrap_ms in (6000, 18_000):
        rig = Rig(now_ms=WRAP - before_wrap_ms, fit_heater=1)
        rig.warm_start()
        rig.press(0.4)
        rig.run(2)
        rig.press(2.5)
        rig.run(16)
        rig.press(2.5)
        rig.until(lambda rig=rig: rig.state == "ON_OIL", 30)
        rig.key(False)
        rig.engine(False)
        rig.run(33)
        rig.boot()
        rig.reads(coolant_c=0.0, oil_c=0.0, oil_tank_c=-5.0)
        rig.start()
        rig.ramp(20, coolant_c=50.0, oil_c=8.0)


def run_on() -> None:
    """The engine held on after key-off, to the end of the purge and to the end of its time."""
    for run_on_s in (60, 5):
        rig = Rig(run_on_s=run_on_s)
        rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
        rig.warm_start()
        rig.key(False)
        rig.run(20)


def faults() -> None:
    """Sensors lost and back, a dip of the supply, late ticks, a refused write, a looped return under `permit`."""
    rig = Rig()
    rig.warm_start(suction_kpa=8.0)
    rig.run(25)
    good = rig.counts[OIL]
    rig.counts[OIL] = OPEN_COUNTS
    rig.run(3)
    rig.counts[OIL] = good
    rig.run(20)
    rig.reads(supply_v=9.0)
    rig.run(2)
    rig.reads(supply_v=14.0)
    rig.run(5)
    rig.tick(400)
    rig.tick(900)
    rig.run(8)
    rig.refuses_writes = True
    rig.run(40)
    rig.key(False)
    rig.run(1)

    rig = Rig(layout=LOOPED_RETURN, authority=PERMIT, fit_supply_contact=0, suction_absolute=1)
    rig.reads(**HOT_ENGINE)
    rig.reads(suction_kpa=30.0)
    rig.start()
    rig.run(5)
    rig.ready()
    rig.run(30)
    rig.counts[PUMP_INLET] = NO_ANSWER
    rig.run(5)
    Rig(valid=False, restarted=True, oil_entry_cdegc=4000, oil_exit_cdegc=9000).run(2)


def noise(seed: int, ticks: int) -> None:
    """Raw counts and levels by chance around a warm car: mostly small steps, sometimes anything at all."""
    rng = random.Random(seed)
    rig = Rig(now_ms=WRAP - ticks * 50, fit_heater=1, run_on_s=20, dwell_diesel_s=10, path_ul=30000)
    rig.contacts_follow = True
    rig.warm_start()
    usual = list(rig.counts)
    for _ in range(ticks):
        for channel in range(10):
            if rng.random() < 0.2:
                rig.counts[channel] = max(0, min(65535, usual[channel] + rng.randrange(-60, 61)))
            elif rng.random() < 0.002:
                rig.counts[channel] = rng.choice((NO_ANSWER, 0, 65535, rng.randrange(65536)))
        for contact in range(10):
            if rng.random() < (0.004 if contact in (KEY, ENGINE) else 0.01):
                rig.levels[contact] = not rig.levels[contact]
            elif rng.random() < 0.1:
                rig.levels[contact] = contact in (KEY, ENGINE, READY, BRAKE, NEUTRAL, BONNET)
        rig.refuses_writes = rng.random() < 0.01
        rig.tick(rng.choice((100, 100, 100, 100, 100, 100, 90, 110, 250, 251)))


def commute() -> None:
    """Two days of the winter commute: two hours and a half of driving, six trips, as the simulated board met them."""
    scenario = load_scenario("winter_commute")
    twice = scenario.model_copy(update={"trip": scenario.trip * 2})
    Drive(twice, load_profile(scenario.profile)).run()


def slots() -> list[list[str]]:
    """The later of two slots cut at every byte and flipped in every byte, beside the earlier one, over the number's wrap."""
    record = Record()
    record.sequence = WRAP - 2
    record.oil_in_lines = False
    earlier = record.encode()
    later = record.encode()
    damaged = [later[:size] for size in range(len(later) + 1)]
    damaged += [bytes([*later[:at], later[at] ^ 0x80, *later[at + 1 :]]) for at in range(len(later))]
    return [["choose", earlier.hex(), slot.hex()] for slot in damaged]


def units() -> None:
    """All stories but the commute."""
    trips()
    run_on()
    faults()
    for seed in (1, 2):
        noise(seed, 1500)


if __name__ == "__main__":
    with open(sys.argv[1], "w") as file:
        for row in slots() + recorded(units) + recorded(commute):
            file.write(json.dumps(row) + "\n")
