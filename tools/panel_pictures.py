"""Draws every page of the panel into docs/panel/*.png: `python tools/panel_pictures.py`. A test compares.

The law is brought into each scene by readings and contacts, as in a car, and the firmware's own panel draws what it finds.
"""

from __future__ import annotations

import struct
import tempfile
import zlib
from collections.abc import Callable
from pathlib import Path

import panel
from changeover.inputs import BRAKE, BUTTON, ENGINE, KEY, NEUTRAL, READY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.law import Law
from changeover.memory import Record
from changeover.sensing import (
    AMBIENT,
    BARO,
    COOLANT,
    DIESEL_LEVEL,
    OIL,
    OIL_LEVEL,
    OIL_TANK,
    PUMP_INLET,
    SUCTION,
    SUPPLY,
)  # fmt: skip
from changeover.settings import AUTOMATIC, defaults
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PURGING
from host_sim.signals import from_physical
from journal import Journal

PICTURES = Path(__file__).parent.parent / "docs" / "panel"
SCALE = 4
TICK_MS = 100
OPEN_COUNTS = 65535
WARM = {
    COOLANT: 88.0, OIL: 81.0, SUCTION: 6.4, OIL_TANK: 79.0, PUMP_INLET: 52.0, OIL_LEVEL: 0.62, DIESEL_LEVEL: 0.48, SUPPLY: 14.1,
    AMBIENT: 3.5, BARO: 99.0,
}  # fmt: skip
COLD = WARM | {COOLANT: 41.0, OIL: 12.0, OIL_TANK: 14.0, PUMP_INLET: 9.0, SUCTION: 0.4}


class Scene:
    """A law, a journal and a panel on a bench. `played`: every tick and drawing, so that they can be played elsewhere."""

    def __init__(self, folder: str, **settings: int) -> None:
        self.values = defaults()
        for name in ("oil_tank_ntc", "pump_inlet_ntc", "oil_level", "diesel_level", "supply", "ambient"):
            self.values["fit_" + name] = 1
        self.values |= {"fit_supply_contact": 1, "fit_return_contact": 1, "authority": AUTOMATIC} | settings
        record = Record()
        record.oil_in_lines = False
        self.law = Law(self.values, record)
        self.journal = Journal(folder, self.values)
        self.panel = panel.Panel(self.values, self.journal)
        self.counts = [0] * 10
        self.levels = [False] * 10
        self.played: list[list[object]] = [["boot", self.values]]
        self._now_ms = 0
        self.read(COLD)

    def read(self, readings: dict[int, float]) -> None:
        """What the sensors show from now on, by channel, in degC, kPa, shares and V."""
        for channel, value in readings.items():
            self.counts[channel] = from_physical(channel, value)

    def run(self, seconds: float) -> None:
        """Let time pass; valves go where they are sent, and every record reaches flash."""
        for _ in range(round(1000 * seconds / TICK_MS)):
            machine = self.law.machine
            self.levels[SUPPLY_CONTACT], self.levels[RETURN_CONTACT] = machine.supply_on, machine.return_on
            self.played.append(["tick", list(self.counts), list(self.levels)])
            self._now_ms += TICK_MS
            self.law.step(self._now_ms, self.counts, self.levels)
            self.journal.tick(self.law, self._now_ms)
            if machine.write_wanted:
                self.law.write_record()
                self.law.written(True)

    def until(self, state: int) -> None:
        """Let time pass, five minutes at most, until the law is in this state."""
        for _ in range(3000):
            if self.law.machine.state == state:
                return
            self.run(0.1)
        raise AssertionError(f"state {state} does not come")

    def press(self, seconds: float) -> None:
        """Hold the button so long, and let go."""
        self.levels[BUTTON] = True
        self.run(seconds)
        self.levels[BUTTON] = False
        self.run(0.4)

    def draw(self, page: int, note: str = "") -> bytes:
        """A page as it stands now."""
        self.panel.note = note
        self.panel.draw(self.law, page)
        self.played.append(["draw", page, note])
        return bytes(self.panel.buffer)

    def start(self, readings: dict[int, float]) -> None:
        """Key on, engine running for four seconds."""
        self.read(readings)
        self.levels[KEY] = self.levels[ENGINE] = True
        self.run(4)

    def change_over(self, seconds: float = 30) -> None:
        """Warm, selector on READY, so long on oil."""
        self.levels[READY] = True
        self.start(WARM)
        self.until(ON_OIL)
        self.run(seconds)


def _parked(scene: Scene) -> int:
    scene.run(5)
    return panel.DRIVING


def _cold(scene: Scene) -> int:
    scene.levels[READY] = True
    scene.start(COLD)
    return panel.DRIVING


def _filling(scene: Scene) -> int:
    scene.levels[READY] = True
    scene.start(WARM)
    scene.until(FILLING)
    scene.run(4)
    return panel.DRIVING


def _on_oil(scene: Scene) -> int:
    scene.change_over()
    return panel.DRIVING


def _purging(scene: Scene) -> int:
    scene.change_over()
    scene.press(2.5)
    scene.run(60)
    assert scene.law.machine.state == PURGING
    return panel.DRIVING


def _may_stop(scene: Scene) -> int:
    scene.change_over()
    scene.press(2.5)
    scene.until(ON_DIESEL)
    return panel.DRIVING


def _sensor_lost(scene: Scene) -> int:
    scene.change_over()
    scene.counts[OIL] = OPEN_COUNTS
    scene.run(2)
    return panel.DRIVING


def _starved(scene: Scene) -> int:
    scene.change_over()
    scene.read({SUCTION: 36.5})
    scene.run(2)
    return panel.DRIVING


def _oil_left(scene: Scene) -> int:
    scene.change_over()
    scene.levels[ENGINE] = scene.levels[KEY] = False
    scene.run(3)
    return panel.DRIVING


def _may_stand(scene: Scene) -> int:
    scene.change_over()
    scene.press(0.4)
    return panel.DRIVING


def _purge_first(scene: Scene) -> int:
    scene.change_over()
    for oil_c in range(81, 69, -1):
        scene.read({OIL: oil_c, AMBIENT: -30.0})
        scene.run(1)
    scene.press(0.4)
    return panel.DRIVING


def _temperatures(scene: Scene) -> int:
    scene.start(COLD)
    scene.counts[PUMP_INLET] = OPEN_COUNTS
    scene.run(1)
    return panel.SENSORS_1


def _other_sensors(scene: Scene) -> int:
    scene.levels[BRAKE] = scene.levels[NEUTRAL] = True
    scene.change_over()
    return panel.SENSORS_2


def _faults(scene: Scene) -> int:
    scene.levels[READY] = True
    scene.start(COLD | {OIL_LEVEL: 0.03})
    scene.counts[PUMP_INLET] = OPEN_COUNTS
    scene.run(6)
    return panel.FAULTS


def _versions(scene: Scene) -> int:
    scene.run(1)
    return panel.VERSIONS


def _totals(scene: Scene) -> int:
    scene.change_over(600)
    scene.press(2.5)
    scene.until(ON_DIESEL)
    scene.levels[ENGINE] = scene.levels[KEY] = False
    scene.run(1)
    return panel.TOTALS


# Picture, its scene, what stands below a service page's text.
SCENES: dict[str, tuple[Callable[[Scene], int], str]] = {
    "parked": (_parked, ""),
    "cold": (_cold, ""),
    "filling": (_filling, ""),
    "on_oil": (_on_oil, ""),
    "purging": (_purging, ""),
    "may_stop": (_may_stop, ""),
    "sensor_lost": (_sensor_lost, ""),
    "starved": (_starved, ""),
    "oil_left": (_oil_left, ""),
    "may_stand": (_may_stand, ""),
    "purge_first": (_purge_first, ""),
    "temperatures": (_temperatures, ""),
    "other_sensors": (_other_sensors, ""),
    "faults": (_faults, ""),
    "versions": (_versions, ""),
    "totals": (_totals, ""),
    "prime": (lambda scene: panel.PRIME, ""),
    "filter": (lambda scene: panel.FILTER, ""),
    "self_test": (lambda scene: panel.SELF_TEST, "supply valve"),
}


def play(name: str) -> tuple[Scene, bytes]:
    """A scene played to its end, and its picture as the board's 1024 bytes."""
    with tempfile.TemporaryDirectory() as folder:
        scene = Scene(folder, cooling_time_s=3000)
        made, note = SCENES[name]
        return scene, scene.draw(made(scene), note)


def dots(buffer: bytes) -> list[list[bool]]:
    """64 lines of 128 dots."""
    return [[bool(buffer[128 * (y // 8) + x] >> y % 8 & 1) for x in range(128)] for y in range(64)]


def png(buffer: bytes) -> bytes:
    """A PNG of two greys (PNG specification, third edition: 8-bit grey, no filter), each dot SCALE x SCALE."""
    lines = []
    for line in dots(buffer):
        row = b"".join((b"\xe8" if dot else b"\x10") * (SCALE - 1) + b"\x00" for dot in line)
        lines += [b"\0" + row] * (SCALE - 1) + [b"\0" + bytes(len(row))]
    header = struct.pack(">IIBBBBB", 128 * SCALE, 64 * SCALE, 8, 0, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(b"".join(lines), 9)), (b"IEND", b""))
    parts = [
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in chunks
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


if __name__ == "__main__":
    PICTURES.mkdir(exist_ok=True)
    for name in SCENES:
        (PICTURES / f"{name}.png").write_bytes(png(play(name)[1]))
