"""Service mode, entered by holding the button while the key is turned on, engine off. Short presses turn the page, a long
one does what the page offers: prime the oil side, forget the old filter, try an output.

Nothing here acts while the engine runs. The law goes on, without the button.
"""

from changeover.inputs import BUTTON, ENGINE, KEY, READY
from changeover.ticks import ticks_diff
from panel import DRIVING, FILTER, PRIME, SELF_TEST
from pins import OUTPUTS, POWER_HOLD, SUPPLY_VALVE

TYPE_CHECKING = False
if TYPE_CHECKING:
    from app import App

TEST_MS = 1500  # shorter than a valve may take to follow, so that the law finds no fault in it
PRIME_MS = 120_000
ASK_MS = 30_000  # so long the button may confirm a test that the host asked for
_LONG_MS = 2000
_NOTHING = -1


class Service:
    """`step` once a tick, between `read` and the law's step. `busy`: an output is held on, or about to be."""

    def __init__(self, app: "App") -> None:
        self._app = app
        self.active = False
        self.busy = False
        self._was_key = False
        self._pressed = False
        self._held = False  # the press that is going on has been acted upon
        self._press_ms = 0  # since when
        self._output = _NOTHING
        self._asked = _NOTHING
        self._asked_ms = 0
        self._since_ms = 0
        self._next = SUPPLY_VALVE
        self._priming = False

    def ask_test(self, name: str) -> str:
        """The host asks to try an output, which the button must confirm: an empty string, or why not."""
        if name not in OUTPUTS or name == OUTPUTS[POWER_HOLD]:
            return "no output of that name: " + " ".join(each for each in OUTPUTS if each != OUTPUTS[POWER_HOLD])
        if self.busy:
            return "another test is going on"
        why = self._why_no_test()
        if not why:
            self._asked = OUTPUTS.index(name)
            self._asked_ms = self._app.now_ms
            self.busy = True
        return why

    def _why_no_test(self) -> str:
        app = self._app
        if app.board.levels[ENGINE] or app.law.machine.engine_ms:
            return "the engine runs"
        if app.law.machine.lines_dirty or app.law.machine.record_dirty:
            return "there may be oil in the lines"
        return ""

    def step(self, now_ms: int) -> None:
        """One tick; takes the button away from the law where it is meant for service."""
        levels = self._app.board.levels
        key, button = levels[KEY], levels[BUTTON]
        if levels[ENGINE] or not key:
            self._leave()
        elif not self._was_key and button:
            self.active = True
            self._held = True  # the press that opened it does nothing more
            self._app.panel.page = DRIVING
            self._app.panel.turn(self._app.law)
        self._was_key = key
        mine = self.active or self._asked != _NOTHING
        if button and not self._pressed:
            self._press_ms = now_ms
        if mine:
            self._presses(button, now_ms)
        self._pressed = button
        self._hold(button, now_ms)
        if mine:
            levels[BUTTON] = False

    def _presses(self, button: bool, now_ms: int) -> None:
        if self._asked != _NOTHING:
            if button and not self._pressed:
                self._start(self._asked, now_ms)
            elif ticks_diff(now_ms, self._asked_ms) >= ASK_MS:
                self._stop()
        elif button and not self._held and ticks_diff(now_ms, self._press_ms) >= _LONG_MS:
            self._held = True
            self._act(now_ms)
        elif self._pressed and not button:
            if not self._held:
                self._app.panel.turn(self._app.law)
            self._held = False

    def _act(self, now_ms: int) -> None:
        app = self._app
        page = app.panel.page
        if page == PRIME:
            self._prime(now_ms)
        elif page == FILTER:
            app.law.restriction.changed()
            app.law.machine.write_wanted = True
            app.panel.page = PRIME
            app.panel.note = "Filter is forgotten\nnow prime"
        elif page == SELF_TEST:
            why = self._why_no_test()
            app.panel.note = why or OUTPUTS[self._next]
            if not why:
                self._start(self._next, now_ms)
                self._next += 2 if self._next + 1 == POWER_HOLD else 1
                self._next %= len(OUTPUTS)

    def _prime(self, now_ms: int) -> None:
        """Oil is announced and recorded before any is let in; the valve opens while the button stays pressed."""
        app = self._app
        if not app.board.levels[READY]:
            app.panel.note = "Turn the selector\nto READY first"
            return
        app.law.machine.oil_may_come()
        app.panel.note = "Pump by hand now\nThen key off, start"
        self._start(SUPPLY_VALVE, now_ms)
        self._priming = True

    def _start(self, output: int, now_ms: int) -> None:
        self._output = output
        self._asked = _NOTHING
        self._since_ms = now_ms
        self.busy = True

    def _hold(self, button: bool, now_ms: int) -> None:
        if self._output == _NOTHING:
            return
        machine = self._app.law.machine
        on_ms = ticks_diff(now_ms, self._since_ms)
        if self._priming:
            recorded = machine.record_dirty and not machine.write_wanted and not machine.memory_bad
            if not button or on_ms >= PRIME_MS or machine.memory_bad:
                self._stop()
            elif recorded:
                self._app.board.forced = self._output
        elif on_ms >= TEST_MS or self._why_no_test():
            self._stop()
        else:
            self._app.board.forced = self._output

    def _stop(self) -> None:
        self._output = self._asked = _NOTHING
        self._app.board.forced = _NOTHING
        self._priming = False
        self.busy = False

    def _leave(self) -> None:
        if self.active:
            self.active = False
            self._app.panel.page = DRIVING
        if self._priming or self._app.board.levels[ENGINE]:
            self._stop()
