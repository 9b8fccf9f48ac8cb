"""What measures a check: each looks at every row that the board sends, in the session's thread, until it knows.

Rows are some ticks apart, so a time is known only to lie between two of them; both are said.
"""

from __future__ import annotations

from dataclasses import dataclass

from changeover import rows
from changeover.inputs import KEY, RETURN_CONTACT, SUPPLY_CONTACT
from changeover.sensing import COOLANT, GOOD, OIL, SUCTION
from changeover.ticks import ticks_diff
from host_sim.link_client import Telemetry
from secondtank.bench.mirror import Mirror
from secondtank.bench.session import Session

UNPLUG_S = 1.0
_STEADY_S = 3.0
OUT_S = 5.0
_SENSOR_ROWS = {COOLANT: rows.COOLANT_SENSOR, OIL: rows.OIL_SENSOR, SUCTION: rows.SUCTION_SENSOR}


@dataclass
class Outcome:
    """`passed`: None while a person has to say."""

    passed: bool | None
    measured: str


class Run:
    """One check under way. `progress`: what it waits for; `outcome` once it is over."""

    def __init__(self) -> None:
        self.progress = ""
        self.outcome: Outcome | None = None

    def take(self, row: Telemetry, mirror: Mirror) -> None:
        """The board's next row."""


class Steady(Run):
    """Counts and readings of one input for some seconds."""

    def __init__(self, channel: int, seconds: float = _STEADY_S) -> None:
        super().__init__()
        self.channel = channel
        self.counts: list[int] = []
        self.values: list[int] = []
        self._seconds = seconds
        self._first_ms: int | None = None

    def take(self, row: Telemetry, mirror: Mirror) -> None:
        if self.outcome is not None:
            return
        self._first_ms = row.tick_ms if self._first_ms is None else self._first_ms
        self.counts.append(row.counts[self.channel])
        reading = mirror.readings()[self.channel]
        if reading.value is not None:
            self.values.append(reading.value)
        since_s = ticks_diff(row.tick_ms, self._first_ms) / 1000
        self.progress = f"measuring, {max(0.0, self._seconds - since_s):.0f} s"
        if since_s >= self._seconds and len(self.counts) >= 5:
            self.outcome = Outcome(None, reading.text)


class Unplugged(Run):
    """From the first reading that no sensor gives to the board's word that it does not trust it."""

    def __init__(self, channel: int) -> None:
        super().__init__()
        self._channel = channel
        self._row = _SENSOR_ROWS.get(channel, rows.OTHER_SENSOR)
        self._good_ms: int | None = None
        self._bad_ms: int | None = None

    def take(self, row: Telemetry, mirror: Mirror) -> None:
        if self.outcome is not None:
            return
        told = bool((row.blocked | row.forced) >> self._row & 1)
        gone = (
            not 900 < row.counts[self._channel] < 65000
        )  # open or short, by the law's own bounds for every kind of input
        if not row.levels[KEY]:
            self.progress = "turn the key on"
        elif not gone and not told and mirror.law.inputs.channel[self._channel].reason == GOOD:
            self._good_ms, self._bad_ms = row.tick_ms, None
            self.progress = "pull the plug now"
        elif self._good_ms is None:
            self.progress = "waiting until the sensor is trusted"
        elif gone:
            self._bad_ms = self._bad_ms or row.tick_ms
            self.progress = "unplugged; waiting for the board's word"
            late_s = ticks_diff(row.tick_ms, self._good_ms) / 1000
            if told:
                least_s = ticks_diff(row.tick_ms, self._bad_ms) / 1000
                self.outcome = Outcome(
                    late_s <= UNPLUG_S or least_s < UNPLUG_S, f"told after {least_s:.1f} to {late_s:.1f} s"
                )
            elif late_s > OUT_S:
                self.outcome = Outcome(False, f"not told for {late_s:.1f} s")


class Toggled(Run):
    """A contact seen off and on, twice."""

    def __init__(self, index: int) -> None:
        super().__init__()
        self._index = index
        self._seen: list[bool] = []

    def take(self, row: Telemetry, mirror: Mirror) -> None:
        on = row.levels[self._index]
        if not self._seen or self._seen[-1] != on:
            self._seen.append(on)
        changes = len(self._seen) - 1
        self.progress = f"it is {'on' if on else 'off'}; {changes} of 4 changes"
        if changes >= 4 and self.outcome is None:
            self.outcome = Outcome(True, f"{changes} changes, seen on and off")


class Output(Run):
    """An output that the button starts: its contact, where it has one, tells; else a person."""

    def __init__(self, session: Session, name: str, fitted: bool) -> None:
        """A job: asks the board for the test. Raises LinkRefused."""
        super().__init__()
        self._contact = {"supply_valve": SUPPLY_CONTACT, "return_valve": RETURN_CONTACT}.get(name) if fitted else None
        self._on_ms: int | None = None
        session.end("an output is tried")
        session.client.change(f"test {name}")
        self.progress = "press the board's button within 30 s, and look"
        if self._contact is None:
            self.outcome = Outcome(None, "no contact tells")

    def take(self, row: Telemetry, mirror: Mirror) -> None:
        if self._contact is None or self.outcome is not None:
            return
        on = row.levels[self._contact]
        if on and self._on_ms is None:
            self._on_ms = row.tick_ms
            self.progress = "its contact is on"
        elif not on and self._on_ms is not None:
            for_s = ticks_diff(row.tick_ms, self._on_ms) / 1000
            self.outcome = Outcome(None if for_s <= 2.5 else False, f"contact on for about {for_s:.1f} s")


def judge_plausible(channel: int, value: int, truth: float) -> Outcome:
    """A reading (law's unit) beside a thermometer's, a gauge's or a meter's (degC, kPa, %, V)."""
    scale, within, unit = _TRUTHS[channel]
    off = value / scale - truth
    return Outcome(
        abs(off) <= within, f"{value / scale:.2f} {unit} beside {truth:g} {unit}: {off:+.2f}, allowed {within:g}"
    )


_NTC, _PRESSURE, _LEVEL = (100, 3.0, "degC"), (1000, 3.0, "kPa"), (10, 5.0, "%")
_TRUTHS = (_NTC, _NTC, _PRESSURE, _NTC, _NTC, _LEVEL, _LEVEL, (1000, 0.3, "V"), _NTC, _PRESSURE)


def truth_unit(channel: int) -> str:
    """The unit in which a person types what is true."""
    return _TRUTHS[channel][2]
