"""The Raspberry Pi Pico: pins, converters, lamps, display, serial port, watchdog, what outlives a reset. The only driver.

De-energised is diesel: every output is low before the first `write`, after `off`, and by the chip's reset.
"""

import time

import machine

from causes import ASKED, POWER_ON, WATCHDOG
from changeover.inputs import KEY, LIGHTING
from changeover.sensing import NO_ANSWER
from converters import CONVERSION_US, Converters
from display import Display
from lamps import BRIGHT, Lamps
from pins import (
    ANALOG,
    BUZZER,
    DIMMED,
    FILTER_HEATER,
    IN,
    OUT,
    POWER_HOLD,
    RETURN_VALVE,
    RUN_ON,
    SUPPLY_VALVE,
    gpio,
    gpios,
)
from usb_port import Port

TYPE_CHECKING = False
if TYPE_CHECKING:
    from changeover.law import Law

WATCHDOG_MS = 2000
WINDOW_MS = 8000  # after a start, key off: no watchdog for so long, so that a host can stop the program and copy files

_BUS_HZ = 400_000
_CONVERTERS_US, _DISPLAY_US = 1000, 5000  # longest transfer: 5 bytes take 0.12 ms, 130 bytes 3 ms
_LAMP_HZ = 500
_COIL_HZ = 20_000  # above what is heard; both valves are channels of one slice, which has one frequency
_FULL_MS = 500  # until a valve's plunger has surely pulled in (common practice: a few tens of ms)
_REFRESH_MS = 30_000  # a valve that a dip of its feed let go is not pulled in by its hold current
_OFF, _FULL, _HELD = range(3)

# Watchdog registers (RP2040 datasheet, 4.7.6). Scratch 0 to 3 are the program's; 4 and up are used by the boot code.
_REASON = 0x40058008
_SCRATCH_NOTE, _SCRATCH_STATE, _SCRATCH_TICK = 0x4005800C, 0x40058010, 0x40058014
_TIMED_OUT, _FORCED = 1, 2
_MAGIC = 0x2754700


class _Coil:
    """A valve's output: full on for half a second, every half minute anew, else held by a share of the time. Off is a plain low
    pin, at once."""

    def __init__(self, pin: machine.Pin) -> None:
        self._pin = pin
        self._phase = _OFF
        self._since_ms = 0

    def off(self) -> None:
        """De-energised."""
        self._phase = _OFF
        self._set(0)

    def drive(self, on: bool, hold_percent: int) -> None:
        """One tick."""
        if not on:
            self.off()
        elif self._phase == _OFF or (self._phase == _HELD and self._lasts(_REFRESH_MS)):
            self._phase = _FULL
            self._since_ms = time.ticks_ms()
            self._set(1)
        elif self._phase == _FULL and hold_percent < 100 and self._lasts(_FULL_MS):
            self._phase = _HELD
            duty = 65535 * hold_percent // 100
            machine.PWM(self._pin, freq=_COIL_HZ, duty_u16=duty)  # takes nothing from the heap

    def _set(self, level: int) -> None:
        """While pulses drive the pin, its value counts for nothing: it is made an output anew, at this level from the start."""
        self._pin.init(machine.Pin.OUT, value=level)

    def _lasts(self, ms: int) -> bool:
        return time.ticks_diff(time.ticks_ms(), self._since_ms) >= ms


class Board:
    """`counts` and `levels` in the law's order, after `read`. `forced`: the output (its place in `pins.OUTPUTS`) that a
    self-test or a prime holds on, -1: none. `masked`: heater and run-on stay off. `hold_percent`: of the time that an energised
    valve gets current, once it has pulled in."""

    def __init__(self) -> None:
        self._out = [machine.Pin(number, machine.Pin.OUT, value=0) for number in gpios(OUT)]
        self._coils = _Coil(self._out[SUPPLY_VALVE]), _Coil(self._out[RETURN_VALVE])
        dimmed = [machine.PWM(machine.Pin(number), freq=_LAMP_HZ, duty_u16=0) for number in gpios(DIMMED)]
        self._lamps = Lamps(dimmed, self._out[BUZZER])
        self._in = [machine.Pin(number, machine.Pin.IN, machine.Pin.PULL_UP) for number in gpios(IN)]
        self._adc = [machine.ADC(number) for number in gpios(ANALOG)]
        self.counts = [NO_ANSWER] * 10
        self.levels = [False] * 10
        self.forced = -1
        self.masked = False
        self.hold_percent = 100
        self._converters = Converters(_bus(0, "converter", _CONVERTERS_US))
        self._display = Display(_bus(1, "display", _DISPLAY_US))
        self._port = Port()
        self._dark = False
        self._dog: machine.WDT | None = None
        self._born_ms = time.ticks_ms()
        self.last_state = 0
        self.last_tick = 0
        self._cause = self._why()

    def _why(self) -> int:
        note = machine.mem32[_SCRATCH_NOTE]
        reason = machine.mem32[_REASON]
        machine.mem32[_SCRATCH_NOTE] = _MAGIC
        if note & ~0xFF != _MAGIC or not reason & (_TIMED_OUT | _FORCED):
            return POWER_ON
        self.last_state = machine.mem32[_SCRATCH_STATE]
        self.last_tick = machine.mem32[_SCRATCH_TICK]
        return WATCHDOG if reason & _TIMED_OUT else (note & 0xFF) or ASKED

    def cause(self) -> int:
        """Why the board started, of `causes`; unless power came on, `last_state` and `last_tick` are the last life's."""
        return self._cause

    def remember(self, state: int, tick: int) -> None:
        """What a reset leaves in place: the law's state, and how many ticks this life has lasted (below 2**30)."""
        machine.mem32[_SCRATCH_STATE] = state
        machine.mem32[_SCRATCH_TICK] = tick

    def ticks_ms(self) -> int:
        """The board's clock, wrapping at 2**30 ms."""
        return time.ticks_ms()  # pyright: ignore[reportReturnType] - the stubs hide that it is a number

    def wait(self, deadline_ms: int) -> None:
        """Sleep until the clock shows this; not at all where that is past."""
        left_ms = time.ticks_diff(deadline_ms, time.ticks_ms())
        if left_ms > 0:
            time.sleep_ms(left_ms)

    def read(self) -> None:
        """Every input once, about 10 ms: the bus converts while the chip's own converter is read."""
        index = 0
        while index < 10:
            self.levels[index] = not self._in[index].value()
            index += 1
        turn = 0
        while turn < 4:
            asked = self._converters.start(turn)
            started_us = time.ticks_us()
            if turn < 3:
                self.counts[turn] = _oversampled(self._adc[turn])
            if asked:
                left_us = CONVERSION_US - time.ticks_diff(time.ticks_us(), started_us)
                if left_us > 0:
                    time.sleep_us(left_us)
                self._converters.finish(turn)
            turn += 1
        self._converters.take(self.counts, 3)

    def write(self, law: "Law") -> None:
        """Drive every output as the law commands; a self-test's on top."""
        machine_law = law.machine
        self._coils[SUPPLY_VALVE].drive(machine_law.supply_on or self.forced == SUPPLY_VALVE, self.hold_percent)
        self._coils[RETURN_VALVE].drive(machine_law.return_on or self.forced == RETURN_VALVE, self.hold_percent)
        self._drive(FILTER_HEATER, law.heater.on and not self.masked)
        self._drive(POWER_HOLD, law.power_hold)
        self._drive(RUN_ON, law.run_on and not self.masked)
        self._dark = law.inputs.contact[LIGHTING].on
        self.lamps(law.panel.red, law.panel.amber, law.panel.green, law.panel.buzzer)

    def _drive(self, place: int, on: bool) -> None:
        self._out[place].value(on or place == self.forced)

    def lamps(self, red: int, amber: int, green: int, buzzer: int) -> None:
        """One tick of lamps and buzzer, patterns of `panel_logic`."""
        self._lamps.step(red, amber, green, buzzer, self._dark)
        if self.forced >= BUZZER:
            self._lamps.force(self.forced - BUZZER)

    def off(self) -> None:
        """Everything de-energised; the feed goes, too, unless the key or a host gives one."""
        for coil in self._coils:
            coil.off()
        for pin in self._out:
            pin.value(0)
        self._lamps.off()

    def restart(self, cause: int) -> None:
        """Everything off, then the chip's reset; the next life knows the cause."""
        self.off()
        machine.mem32[_SCRATCH_NOTE] = _MAGIC | cause
        machine.reset()

    def complain(self, times: int) -> None:
        """The red lamp blinks so often, a second at most; nothing else moves."""
        for _ in range(times):
            self._lamps.set(0, BRIGHT)
            time.sleep_ms(100)
            self._lamps.set(0, 0)
            time.sleep_ms(100)

    def show(self, buffer: bytearray) -> None:
        """A slice of this picture to the display."""
        self._display.show(buffer, self._dark)

    def feed(self) -> None:
        """A whole healthy tick was made. The watchdog begins with the key, or once the window for copying files is over."""
        if self._dog is not None:
            self._dog.feed()
        elif self.levels[KEY] or time.ticks_diff(time.ticks_ms(), self._born_ms) >= WINDOW_MS:
            self._dog = machine.WDT(timeout=WATCHDOG_MS)

    def watched(self) -> bool:
        """Has the watchdog begun? It cannot be ended."""
        return self._dog is not None

    def serial_read(self, buffer: bytearray) -> int:
        """Bytes that came from the host, into `buffer`: how many."""
        return self._port.read(buffer)

    def serial_room(self) -> int:
        """How many bytes may be offered to the host now."""
        return self._port.room()

    def serial_write(self, data: bytes) -> int:
        """Send what fits of the beginning of `data`: how many bytes."""
        return self._port.write(data)


def _bus(number: int, name: str, timeout_us: int) -> machine.I2C:
    data, clock = machine.Pin(gpio(name + "_sda")), machine.Pin(gpio(name + "_scl"))
    return machine.I2C(number, sda=data, scl=clock, freq=_BUS_HZ, timeout=timeout_us)


def _oversampled(adc: machine.ADC) -> int:
    """Sum of sixteen 12-bit codes, each the median of three: 0 to 65 520."""
    total = 0
    left = 16
    while left:
        low = adc.read_u16() >> 4
        middle = adc.read_u16() >> 4
        high = adc.read_u16() >> 4
        if low > middle:
            low, middle = middle, low
        if middle > high:
            middle = high if high > low else low
        total += middle
        left -= 1
    return total
