"""Recorded vectors for the law: stories that walk through every state, and seeded noise. The form: `replay`."""

from __future__ import annotations

import random
from pathlib import Path

from changeover.inputs import BONNET, BRAKE, ENGINE, KEY, NEUTRAL, READY
from changeover.sensing import NO_ANSWER, OIL, PUMP_INLET
from changeover.settings import LOOPED_RETURN, PERMIT, defaults
from tests.law.rig import HOT_ENGINE, OPEN_COUNTS, Rig

WRAP = 2**30


class RecordedRig(Rig):
    """A rig that writes down what it feeds to the law."""

    def __init__(self, lines: list[str], **options: int) -> None:
        self.lines = lines
        super().__init__(**options)
        self.watch = self.record

    def boot(self, restarted: bool = False) -> None:
        usual = defaults()
        self.lines.extend(f"set {name}={value}" for name, value in self.values.items() if value != usual[name])
        slots = " ".join(slot.hex() or "-" for slot in self.slots)
        self.lines.append(f"boot {slots} {int(self.valid)} {int(restarted)}")
        super().boot(restarted)

    def record(self, answer: bool | None) -> None:
        counts = ",".join(map(str, self.counts))
        levels = "".join("01"[level] for level in self.levels)
        self.lines.append(f"t {self.now_ms} {counts} {levels} {'-' if answer is None else int(answer)}")


def trips(lines: list[str]) -> None:
    """Cold start, oil, a forgotten purge, its end on the next trip; the tick counter wraps in fill and purge."""
    for before_wrap_ms in (6000, 18_000):
        rig = RecordedRig(lines, now_ms=WRAP - before_wrap_ms, fit_heater=1)
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


def run_on(lines: list[str]) -> None:
    """The engine held on after key-off, to the end of the purge and to the end of its time."""
    for run_on_s in (60, 5):
        rig = RecordedRig(lines, run_on_s=run_on_s)
        rig.levels[BRAKE] = rig.levels[NEUTRAL] = rig.levels[BONNET] = True
        rig.warm_start()
        rig.key(False)
        rig.run(20)


def faults(lines: list[str]) -> None:
    """Sensors lost and back, a dip of the supply, late ticks, a refused write, a looped return under `permit`."""
    rig = RecordedRig(lines)
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

    rig = RecordedRig(lines, layout=LOOPED_RETURN, authority=PERMIT, fit_supply_contact=0, suction_absolute=1)
    rig.reads(**HOT_ENGINE)
    rig.reads(suction_kpa=30.0)
    rig.start()
    rig.run(5)
    rig.ready()
    rig.run(30)
    rig.counts[PUMP_INLET] = NO_ANSWER
    rig.run(5)
    RecordedRig(lines, valid=False, restarted=True, oil_entry_cdegc=4000, oil_exit_cdegc=9000).run(2)


def noise(lines: list[str], seed: int, ticks: int) -> None:
    """Raw counts and levels by chance around a warm car: mostly small steps, sometimes anything at all."""
    rng = random.Random(seed)
    rig = RecordedRig(lines, now_ms=WRAP - ticks * 50, fit_heater=1, run_on_s=20, dwell_diesel_s=10, path_ul=30000)
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


def write(path: Path) -> int:
    """All vectors into this file; how many ticks there are."""
    lines: list[str] = []
    trips(lines)
    run_on(lines)
    faults(lines)
    for seed in (1, 2):
        noise(lines, seed, 1500)
    path.write_text("\n".join(lines) + "\n")
    return sum(line.startswith("t ") for line in lines)
