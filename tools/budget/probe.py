"""Runs inside MicroPython, in parts (`more()`): the whole program on a stub of the chip, its heap and its time.

Prints lines `name value`. Garbage is collected between the parts, by MicroPython itself where it cannot be done within one.
"""

import gc
import sys
import time

import micropython

LINES = []
DRIVEN = {}  # outputs by pin
CONTACT_OF = {8: 14, 9: 15}  # a valve's contact follows its output
LEVELS = {26: 9000, 27: 11500, 28: 5500}  # warm coolant, warm oil, a little suction


class _Pin:
    IN, OUT, PULL_UP = 0, 1, 1
    closed = ()

    def __init__(self, number, mode=-1, pull=-1, value=0):
        self.number = number

    def init(self, mode, value):
        self.value(value)

    def value(self, level=None):
        if level is not None:
            DRIVEN[self.number] = level
        return (
            0 if self.number in _Pin.closed or DRIVEN.get(CONTACT_OF.get(self.number)) else 1
        )  # valve contacts follow


class _Pulses:
    def duty_u16(self, duty):
        pass


PULSES = _Pulses()


def _pwm(pin, freq, duty_u16):
    """The chip's are there from the start: making one takes nothing from the heap (ports/rp2/machine_pwm.c, machine_pwm_obj)."""
    return PULSES


class _ADC:
    def __init__(self, number):
        self.number = number

    def read_u16(self):
        return LEVELS[self.number]


class _I2C:
    codes = ((4632, 8119, 15577, 15577), (18481, 18230, 17000, 26400))  # warm oil, levels, 14 V, 20 degC, the reference

    def __init__(self, number, sda, scl, freq, timeout):
        self.config = bytearray(2)

    def writeto(self, address, data):
        pass

    def writeto_mem(self, address, register, data):
        self.config[0] = data[0]
        self.config[1] = data[1]

    def readfrom_mem_into(self, address, register, data):
        if register:
            data[0] = self.config[0]
            data[1] = self.config[1]
        else:
            code = _I2C.codes[address - 0x48][(self.config[0] >> 4) - 12]
            data[0] = code >> 8
            data[1] = code & 0xFF


class _WDT:
    def __init__(self, timeout):
        pass

    def feed(self):
        pass


class _Memory(dict):
    def __getitem__(self, address):
        return self.get(address, 0)


class _Poll:
    def register(self, stream, events):
        pass

    def ipoll(self, wait):
        return ()  # nobody at the other end


class _Module:
    pass


class held:  # what later parts need
    board = app = driver = program = None


def _modules():
    machine, select = _Module(), _Module()
    machine.Pin, machine.PWM, machine.ADC, machine.I2C, machine.WDT, machine.mem32 = (
        _Pin,
        _pwm,
        _ADC,
        _I2C,
        _WDT,
        _Memory(),
    )
    select.poll, select.POLLIN, select.POLLOUT = _Poll, 1, 4
    sys.modules["machine"], sys.modules["select"] = machine, select


def heap(name):
    LINES.append(f"heap {name} {gc.mem_alloc()}")


def stage_empty():
    _modules()
    heap("before")


def stage_load():
    import board_pico
    import main  # noqa: F401
    from app import App

    held.driver, held.program = board_pico, App


def stage_loaded():
    heap("loaded")


def stage_boot():
    from profile import CHANGES  # written by whoever runs this

    from changeover.memory import Record
    from changeover.settings import defaults
    from store import save_settings, write_slot

    values = defaults()
    values.update(CHANGES)
    save_settings(".", values)
    record = Record()
    record.oil_in_lines = False
    for _ in range(2):
        data = record.encode()
        write_slot(".", record.slot(), data)
    held.board = held.driver.Board()
    held.app = held.program(held.board, ".")


def stage_booted():
    heap("booted")


def ticks(count):
    app = held.app
    for _ in range(count):
        app.tick((app.now_ms + 100) & 0x3FFFFFFF)


def stage_drive():
    _Pin.closed = (0, 1, 2)  # key, engine, READY
    ticks(20)


def stage_driving():
    from changeover.states import STATES

    heap("driving")
    LINES.append("state " + STATES[held.app.law.machine.state])
    before = gc.mem_alloc()
    ticks(9)  # from one collection of the program's own to the next
    LINES.append(f"heap garbage {gc.mem_alloc() - before}")


def stage_locked():
    """The control step takes nothing from the heap: under the lock it would end here."""
    held.driver.CONVERSION_US = 0  # the wait for the bus's converters is no work
    board, law = held.board, held.app.law
    for _ in range(200):
        held.app.now_ms += 100
        micropython.heap_lock()
        board.read()
        law.step(held.app.now_ms, board.counts, board.levels)
        board.write(law)
        micropython.heap_unlock()
    coil = board._coils[0]
    micropython.heap_lock()
    coil.off()
    coil.drive(True, 50)
    time.sleep_ms(600)  # until it is held
    coil.drive(True, 50)
    micropython.heap_unlock()
    LINES.append("locked 200")


def stage_fill():
    app = held.app
    for page in range(len(sys.modules["panel"].PAGES)):
        app.panel.draw(app.law, page)
    app.link.take(b"help\nfaults\nget\nhelp oil_entry_cdegc\n")
    for _ in range(200):
        app.link.poll(512)
    while app.journal.waiting < 250:
        app.journal.note("words that fill rows of the trip log until there is no room")


def stage_filled():
    heap("worst")


def passes(count):
    while count:
        count -= 1


def dearest(begin, step, count):
    """Of `count` steps after `begin` the one that takes longest, in passes: each and the passes at their best of fifteen times, in
    turns, so that whatever slows the machine slows both."""
    best = [1 << 30] * count
    unit = 1 << 30
    for _ in range(15):
        began = time.ticks_us()
        passes(20000)
        unit = min(unit, time.ticks_diff(time.ticks_us(), began))
        begin()
        for number in range(count):
            began = time.ticks_us()
            step()
            best[number] = min(best[number], time.ticks_diff(time.ticks_us(), began))
    return max(best) * 20000 // unit


def cost(what):
    """Passes that it takes: of twenty in a row."""

    def row():
        for _ in range(20):
            what()

    return dearest(lambda: None, row, 1) // 20


def stage_time():
    board, app, panel = held.board, held.app, held.app.panel
    law = app.law

    def send_all():
        board._display._unknown = 0xFF

    parts = (
        ("read: inputs and bus", cost(lambda: board.read())),
        ("one pin of the converter", cost(lambda: held.driver._oversampled(board._adc[0]))),
        ("law.step", cost(lambda: law.step(app.now_ms, board.counts, board.levels))),
        ("write", cost(lambda: board.write(law))),
        ("journal.tick", cost(lambda: app.journal.tick(law, app.now_ms))),
        ("link, the state in words", dearest(lambda: app.link.take(b"status\n"), lambda: app.link.poll(64), 20)),
        (
            "panel, another page",
            dearest(lambda: panel.draw(law, 4), lambda: panel.step(law, 0, False), 8),
        ),
        ("the whole page at once", dearest(lambda: panel.draw(law, 4), lambda: panel.draw(law, 0), 1)),
        ("display, a row", dearest(send_all, lambda: board.show(panel.buffer), 8)),
    )
    for name, count in parts:
        LINES.append(f"cost {count} {name}")


STAGES = (
    [stage_empty, stage_load, stage_loaded, stage_boot, stage_booted]
    + 20 * [stage_drive]
    + [stage_driving, stage_locked, stage_fill, stage_filled, stage_time]
)


def more():
    STAGES.pop(0)()
    while LINES:
        print(LINES.pop(0))
    gc.collect()
    return bool(STAGES)
