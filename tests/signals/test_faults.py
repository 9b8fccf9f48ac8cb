"""The injector: what each kind does, that it begins and heals on time, and that it leaves everything else alone."""

from __future__ import annotations

import copy
import math
import random
import statistics
from operator import attrgetter
from types import SimpleNamespace
from typing import Any

import pytest
import simpy

from changeover.settings import defaults
from host_sim import faults, signals
from host_sim.actors import BOARD, FAULTS, MONITORS, PLANT, pause
from host_sim.car import Car
from host_sim.car_spec import default_car_path, load_car
from host_sim.errors import InputError
from host_sim.faults import KINDS, Fault, Injector, start_faults
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES, Signals, from_physical, to_physical
from host_sim.virtual_board import VirtualBoard

TICK_MS = 100


def truth(tick: int) -> tuple[list[int], list[bool]]:
    """Readings that differ from tick to tick and from channel to channel."""
    t_s = 0.1 * tick
    raw = [
        from_physical(signals.COOLANT, 60.0 + 0.5 * t_s),
        from_physical(signals.OIL, 40.0 + 0.3 * t_s),
        from_physical(signals.SUCTION, 5.0 + 0.1 * t_s),
        from_physical(signals.OIL_TANK, 30.0 + 0.2 * t_s),
        from_physical(signals.PUMP_INLET, 20.0 + 0.1 * t_s),
        from_physical(signals.OIL_LEVEL, 0.7 - 0.001 * t_s),
        from_physical(signals.DIESEL_LEVEL, 0.5 - 0.001 * t_s),
        from_physical(signals.SUPPLY, 14.0 - 0.01 * t_s),
        from_physical(signals.AMBIENT, -10.0 + 0.05 * t_s),
        from_physical(signals.AMBIENT_PRESSURE, 100.0 - 0.01 * t_s),
    ]
    return raw, [(tick // (bit + 3)) % 2 == 0 for bit in range(len(DIGITAL_NAMES))]


def play(fault: Fault, ticks: int = 300, seed: int = 1) -> list[tuple[list[int], list[bool]]]:
    """Readings tick by tick with the fault at work from its onset until its duration is over."""
    injector = Injector(seed)
    out = []
    end_ms = math.inf if fault.duration_ms is None else fault.onset_ms + fault.duration_ms
    for tick in range(ticks):
        now_ms = TICK_MS * tick
        if now_ms == fault.onset_ms:
            injector.start(fault)
        if now_ms == end_ms:
            injector.stop(fault)
        raw, digital = truth(tick)
        if injector.active:
            injector.apply(now_ms, raw, digital)
        out.append((raw, digital))
    return out


USUAL_SIZE = {
    "stuck": 1.0,
    "offset": 5.0,
    "scale": 1.2,
    "slow": 4.0,
    "delayed": 3.0,
    "intermittent": 2.0,
    "noise": 2.0,
    "ground_lifted": 20.0,
}
ON_SIGNALS = [name for name, kind in KINDS.items() if kind.hook is None]


def one_of_each() -> list[Fault]:
    rows = []
    for name in ON_SIGNALS:
        on = KINDS[name].on
        size = USUAL_SIZE.get(name)
        other = {"analog": "oil_level", "digital": "brake"} if name == "swapped" else {}
        if faults.ANALOG in on:
            rows.append(Fault(name, "oil", size, 10_000, 10_000, other.get("analog")))
        if faults.DIGITAL in on:
            rows.append(Fault(name, "ready", size, 10_000, 10_000, other.get("digital")))
        if faults.BOARD in on:
            rows.append(Fault(name, None, size, 10_000, 10_000))
    return rows


@pytest.mark.parametrize("fault", one_of_each(), ids=lambda fault: f"{fault.kind}-{fault.channel}")
def test_before_onset_and_after_recovery_the_stream_is_the_unfaulted_one(fault):
    stream = play(fault)
    clean = [truth(tick) for tick in range(300)]
    assert stream[:100] == clean[:100]
    assert stream[200:] == clean[200:]
    assert stream[100:200] != clean[100:200]


@pytest.mark.parametrize("fault", one_of_each(), ids=lambda fault: f"{fault.kind}-{fault.channel}")
def test_only_the_named_inputs_change(fault):
    touched = {fault.channel, fault.other} - {None}
    if fault.kind == "ground_lifted":
        touched = {ANALOG_NAMES[channel] for channel in signals.PICO_CHANNELS}
    if fault.kind == "silent":
        touched = {ANALOG_NAMES[channel] for channel in faults.I2C_CHANNELS}
    changed = set()
    for tick, (raw, digital) in enumerate(play(fault)):
        clean_raw, clean_digital = truth(tick)
        changed |= {name for name, a, b in zip(ANALOG_NAMES, raw, clean_raw, strict=True) if a != b}
        changed |= {name for name, a, b in zip(DIGITAL_NAMES, digital, clean_digital, strict=True) if a != b}
    assert changed == touched


def faulted(kind: str, channel: str = "oil", size: float | None = None, **more: Any) -> list[int]:
    index = ANALOG_NAMES.index(channel)
    return [raw[index] for raw, _ in play(Fault(kind, channel, size, 10_000, 10_000, **more))][100:200]


def clean(channel: str = "oil") -> list[int]:
    index = ANALOG_NAMES.index(channel)
    return [truth(tick)[0][index] for tick in range(100, 200)]


def test_open_thermistor_reads_the_top_and_an_open_pressure_sensor_zero():
    assert set(faulted("open", "coolant")) == {65520}
    assert set(faulted("open", "suction")) == {0}


def test_short_reads_zero():
    assert set(faulted("short", "coolant")) == {0}


def test_stuck_reads_the_given_temperature():
    assert {round(to_physical(signals.OIL, value), 1) for value in faulted("stuck", size=78.0)} == {78.0}


def test_frozen_keeps_the_value_of_the_onset():
    assert set(faulted("frozen")) == {clean()[0]}


def test_offset_is_in_kelvin_and_scale_a_factor():
    for got, real in zip(faulted("offset", size=-7.0), clean(), strict=True):
        assert to_physical(signals.OIL, got) == pytest.approx(to_physical(signals.OIL, real) - 7.0, abs=0.02)
    for got, real in zip(faulted("scale", "suction", 0.5), clean("suction"), strict=True):
        assert to_physical(signals.SUCTION, got) == pytest.approx(0.5 * to_physical(signals.SUCTION, real), abs=0.01)


def test_slow_follows_a_step_with_its_time_constant():
    injector = Injector(1)
    injector.start(Fault("slow", "oil", 4.0))
    answers = {}
    for tick in range(400):
        raw = [0] * 10
        raw[signals.OIL] = 10_000 if tick < 1 else 20_000
        injector.apply(TICK_MS * tick, raw, [False] * 10)
        answers[tick] = raw[signals.OIL]
    # Closed form of a lag of the first order.
    for tick in (10, 40, 80, 200):
        assert answers[tick] == pytest.approx(20_000 - 10_000 * math.exp(-0.1 * tick / 4.0), abs=2)


def test_delayed_reads_what_was_true_before():
    got, real = faulted("delayed", size=3.0), clean()
    assert got[30:] == real[:70]
    assert set(got[:30]) == {real[0]}


def test_intermittent_breaks_off_and_comes_back_within_its_size():
    got, real = faulted("intermittent", size=0.5), clean()
    broken = [value == 65520 for value in got]
    assert all(is_broken or value == good for is_broken, value, good in zip(broken, got, real, strict=True))
    runs = [len(run) for run in "".join("x" if flag else "." for flag in broken).replace(".", " ").split()]
    assert len(runs) > 5
    assert max(runs) <= 6  # size and a tick


def test_noise_has_the_given_spread():
    index = signals.SUCTION
    injector = Injector(2)
    injector.start(Fault("noise", "suction", 2.0))
    values = []
    for tick in range(4000):
        raw, digital = truth(0)
        raw[index] = from_physical(index, 30.0)
        injector.apply(TICK_MS * tick, raw, digital)
        values.append(to_physical(index, raw[index]))
    assert statistics.fmean(values) == pytest.approx(30.0, abs=0.15)
    assert statistics.stdev(values) == pytest.approx(2.0, rel=0.05)


def test_swapped_swaps_analog_and_switched_inputs():
    assert faulted("swapped", "oil", other="coolant") == clean("coolant")
    assert faulted("swapped", "coolant", other="oil") == clean("oil")
    stream = play(Fault("swapped", "ready", None, 10_000, 10_000, "key"))
    ready, key = DIGITAL_NAMES.index("ready"), DIGITAL_NAMES.index("key")
    for tick in range(100, 200):
        assert stream[tick][1][ready] == truth(tick)[1][key]
        assert stream[tick][1][key] == truth(tick)[1][ready]


@pytest.mark.parametrize("ohm", [1.0, 20.0, 200.0, 5000.0])
def test_lifted_ground_raises_all_pico_channels_by_kirchhoffs_node_rule(ohm):
    rows = play(Fault("ground_lifted", None, ohm, 10_000, 10_000))
    for tick in (100, 150, 199):
        before, after = truth(tick)[0], rows[tick][0]
        resistors = [5600.0 * share / (1 - share) for share in (before[0] / 65535, before[1] / 65535)]
        sensor_ohm = 3.3 / 0.007
        low, high = 0.0, 1.0
        for _ in range(60):  # voltage of the common node, reference = 1: current in equals current out
            node = (low + high) / 2
            current = sum((1 - node) / (5600.0 + r) for r in resistors) + (1 - node) / sensor_ohm
            low, high = (node, high) if current * ohm > node else (low, node)
        for channel, ohms in zip((signals.COOLANT, signals.OIL), resistors, strict=True):
            pin = low + (1 - low) * ohms / (5600.0 + ohms)
            assert after[channel] == pytest.approx(65535 * pin, abs=2)
        assert all(after[channel] > before[channel] for channel in signals.PICO_CHANNELS)


def test_lifted_ground_makes_every_thermistor_read_cold():
    rows = play(Fault("ground_lifted", None, 20.0, 10_000, 10_000))
    for channel in (signals.COOLANT, signals.OIL):
        assert to_physical(channel, rows[150][0][channel]) < to_physical(channel, truth(150)[0][channel]) - 1.0


def test_silent_part_reads_minus_one_and_stays_silent_under_another_fault():
    injector = Injector(1)
    injector.start(Fault("silent"))
    injector.start(Fault("offset", "supply", 1.0))
    raw, digital = truth(5)
    injector.apply(500, raw, digital)
    assert [raw[channel] for channel in faults.I2C_CHANNELS] == [-1] * 7


def test_switched_input_open_is_off_and_short_is_on():
    ready = DIGITAL_NAMES.index("ready")
    assert {digital[ready] for _, digital in play(Fault("open", "ready", None, 10_000, 10_000))[100:200]} == {False}
    assert {digital[ready] for _, digital in play(Fault("short", "ready", None, 10_000, 10_000))[100:200]} == {True}
    assert {digital[ready] for _, digital in play(Fault("stuck", "ready", 1.0, 10_000, 10_000))[100:200]} == {True}


@pytest.mark.parametrize("kind", ["noise", "intermittent"])
def test_one_seed_repeats_and_a_second_fault_does_not_disturb_the_first(kind):
    fault = Fault(kind, "oil", 2.0, 10_000, 10_000)
    assert play(fault, seed=5) == play(fault, seed=5) != play(fault, seed=6)
    both, alone = Injector(5), Injector(5)
    both.start(fault)
    both.start(Fault("noise", "coolant", 2.0))
    alone.start(fault)
    for tick in range(100):
        rows = [truth(tick), truth(tick)]
        both.apply(TICK_MS * tick, *rows[0])
        alone.apply(TICK_MS * tick, *rows[1])
        assert rows[0][0][signals.OIL] == rows[1][0][signals.OIL]


HOOKS = {name: kind for name, kind in KINDS.items() if kind.hook is not None}


@pytest.mark.parametrize("name", HOOKS)
def test_fault_sets_its_hook_from_onset_to_recovery(name):
    kind = HOOKS[name]
    size = None if kind.size_unit is None else kind.size_range[1]
    part, _, hook = str(kind.hook).rpartition(".")
    target = SimpleNamespace(**{hook: kind.harmless}, brown_out=lambda: None)
    car: Any = SimpleNamespace(**{part: target}) if part else target
    env = simpy.Environment()
    seen: dict[int, object] = {}
    start_faults(env, [Fault(name, None, size, 1000, 2000)], Injector(1), car, car)

    def board():
        while True:
            seen[int(env.now)] = getattr(target, hook)
            yield pause(env, TICK_MS, BOARD)

    env.process(board())
    env.run(until=5000)
    at_work = True if size is None else size
    assert at_work != kind.harmless
    assert seen[900] == kind.harmless
    assert seen[1000] == seen[2900] == at_work
    assert seen[3000] == seen[4900] == kind.harmless


def test_actors_of_one_instant_act_in_the_fixed_order_however_they_were_started():
    env = simpy.Environment()
    order: list[int] = []

    def actor(priority):
        while True:
            yield pause(env, 100, priority)
            order.append(priority)

    priorities = [MONITORS, PLANT, FAULTS, BOARD]
    random.Random(1).shuffle(priorities)
    for priority in priorities:
        env.process(actor(priority))
    env.run(until=1050)
    assert order == [FAULTS, PLANT, BOARD, MONITORS] * 10


@pytest.mark.parametrize(
    ("make", "part"),
    [
        (lambda: Fault("loose", "oil"), "fault kind"),
        (lambda: Fault("open", "oill"), "channel"),
        (lambda: Fault("offset", "ready", 1.0), "channel"),
        (lambda: Fault("silent", "oil"), "channel"),
        (lambda: Fault("offset", "oil"), "size"),
        (lambda: Fault("open", "oil", 3.0), "size"),
        (lambda: Fault("delayed", "oil", -1.0), "size"),
        (lambda: Fault("noise", "oil", math.nan), "size"),
        (lambda: Fault("stuck", "ready", 0.5), "size"),
        (lambda: Fault("swapped", "oil"), "other"),
        (lambda: Fault("swapped", "oil", other="oil"), "other"),
        (lambda: Fault("swapped", "oil", other="ready"), "other"),
        (lambda: Fault("open", "oil", other="coolant"), "other"),
        (lambda: Fault("open", "oil", onset_ms=-1), "onset"),
        (lambda: Fault("open", "oil", duration_ms=0), "duration"),
        (lambda: Injector(1).start(Fault("heater_dead")), "heater_dead"),
        (lambda: Injector(1).start(Fault("brown_out")), "brown_out"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(make, part):
    with pytest.raises(InputError) as caught:
        make()
    assert part in caught.value.place


def test_every_kind_says_what_it_does():
    assert all(len(kind.does) > 15 for kind in KINDS.values())


@pytest.mark.parametrize("name", HOOKS)
def test_hook_of_every_fault_is_there_in_car_or_board_and_harmless_by_default(name):
    car = Car(load_car(default_car_path()), "tank_return", 10.0)
    board = VirtualBoard(defaults(), car, Signals(1), Injector(1))
    kind = HOOKS[name]
    assert attrgetter(str(kind.hook))(car if faults.PLANT in kind.on else board) == kind.harmless


def test_a_fork_in_the_middle_of_a_fault_goes_on_alike_and_heals_alone():
    fault = Fault("slow", "oil", 4.0)
    first = Injector(1)
    first.start(fault)
    for tick in range(50):
        first.apply(TICK_MS * tick, *truth(tick))
    second = copy.deepcopy(first)
    rows = [truth(50), truth(50)]
    first.apply(5000, *rows[0])
    second.apply(5000, *rows[1])
    assert rows[0] == rows[1] != truth(50)
    second.stop(fault)
    assert first.active
    assert not second.active
