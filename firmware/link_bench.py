"""Bench input: a desktop stands in for the car's sensors for as long as it keeps sending. Granted at rest only.

The board's own law goes on with its own readings, parked. A second law gets what the desktop sends; the board drives
from it what it may: valves, lamps, buzzer, never heater or run-on relay. It remembers nothing: its records stay in RAM.
"""

from changeover.inputs import ENGINE, KEY
from changeover.law import Law
from changeover.memory import Record
from changeover.sensing import NO_ANSWER
from changeover.states import PARKED
from changeover.ticks import ticks_diff

TYPE_CHECKING = False
if TYPE_CHECKING:
    from app import App

SILENCE_MS = 1000
_LAST_TICK_MS = SILENCE_MS - 100  # a tick later would be too late
_WRITE_TICKS = 2  # a record counts as written on the tick after the one that wanted it, as in the simulated board


class BenchLaw(Law):
    """A law whose wish for the heater and the run-on relay is kept apart: nothing that drives pins from it sees one."""

    def __init__(self, values: "dict[str, int]", valid: bool) -> None:
        record = Record()
        record.oil_in_lines = False
        super().__init__(values, record, valid)
        self.wants_heater = False
        self.wants_run_on = False
        self._answer_in = 0

    def step(self, now_ms: int, counts: "list[int]", levels: "list[bool]") -> None:
        """One tick."""
        self.heater.on = self.wants_heater  # the law goes on from what it decided
        super().step(now_ms, counts, levels)
        self.wants_heater = self.heater.on
        self.wants_run_on = self.run_on
        self.heater.on = False
        self.run_on = False
        if self.machine.write_wanted:
            if self._answer_in == 0:
                self.write_record()
                self._answer_in = _WRITE_TICKS
            self._answer_in -= 1
            if self._answer_in == 0:
                self.written(True)


class Bench:
    """`law` while the bench is granted, else None; `ended` says why it ended last, until somebody takes it away.

    `counts` and `levels` are what the desktop sent last, in the order of `changeover.inputs`.
    """

    def __init__(self, app: "App") -> None:
        self._app = app
        self.law: "BenchLaw | None" = None
        self.ended = ""
        self.counts = [NO_ANSWER] * 10
        self.levels = [False] * 10
        self._heard = False
        self._heard_ms = 0

    def why_not(self) -> str:
        """What forbids moving anything from the desk, or an empty string. Raw levels: a bounce is enough."""
        app = self._app
        if app.board.levels[KEY]:
            return "the key is on"
        if app.board.levels[ENGINE]:
            return "the engine runs"
        machine = app.law.machine
        if machine.state != PARKED:
            return "the board is not parked"
        if machine.lines_dirty or machine.record_dirty:
            return "there may be oil in the lines"
        return ""

    def begin(self) -> None:
        """Grant it, with a law that has just started; every input reads as missing until the first values come."""
        for index in range(10):
            self.counts[index] = NO_ANSWER
            self.levels[index] = False
        self.law = None  # room for the new one first
        self.law = BenchLaw(self._app.values, self._app.valid)
        self.ended = ""
        self._heard = True

    def feed(self, counts: "list[int]", levels: "list[bool]") -> None:
        """Ten counts and ten levels came; that keeps the grant for another second."""
        for index in range(10):
            self.counts[index] = counts[index]
            self.levels[index] = levels[index]
        self._heard = True

    def end(self, why: str) -> None:
        """Back to the board's own law, which is parked: every output falls."""
        if self.law is not None:
            self.law = None
            self.ended = why

    def step(self, now_ms: int) -> Law:
        """One tick, after the board was read and its own law stepped, before pins are written: the law to write from."""
        law = self.law
        if law is None:
            return self._app.law
        if self._heard:
            self._heard = False
            self._heard_ms = now_ms
        why = self.why_not()
        if not why and ticks_diff(now_ms, self._heard_ms) >= _LAST_TICK_MS:
            why = "nothing came for a second"
        if why:
            self.end(why)
            return self._app.law
        law.step(now_ms, self.counts, self.levels)
        law.power_hold = self._app.law.power_hold
        return law
