"""The hardware alone: what keys, contacts, relays and power stages let through, whatever the board says.

Four questions, four answers: is the supply valve energised, the return valve, the filter heater, and does the stop solenoid
keep its feed? De-energised is diesel.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import product

from drawings.markdown import table

SUPPLY, RETURN, HEATER, STOP = OUTPUTS = ("supply valve", "return valve", "heater", "stop solenoid fed")

# What may be wrong with it.
SUPPLY_SHORTED, RETURN_SHORTED = "supply stage shorted", "return stage shorted"
HEATER_WELDED, ENGINE_RELAY_WELDED = "heater relay welded", "engine-running relay welded"
RUN_ON_WELDED, TIMER_STUCK = "run-on relay welded", "timer relay stuck"
BRAKE_STUCK, NEUTRAL_STUCK, BONNET_STUCK = "brake switch stuck", "neutral switch stuck", "bonnet switch stuck"
KEY_STUCK, SELECTOR_STUCK = "key contact stuck", "selector contact stuck"
F1, F2, F3, F4, F5 = FUSES = tuple(f"F{number} blown" for number in range(1, 6))
SUPPLY_WIRE, RETURN_WIRE, HEATER_WIRE, STOP_WIRE = "supply wire", "return wire", "heater wire", "stop wire"  # broken
CUT_OUT_OPEN = "cut-out open"


@dataclass(frozen=True)
class Feeds:
    """`pins`: what the board commands of the supply, return, heater and run-on output; nothing where it has no feed."""

    key: bool = True
    ready: bool = True
    engine: bool = True
    board_fed: bool = True
    brake: bool = True
    neutral: bool = True
    bonnet: bool = True
    in_time: bool = True  # of the timer relay, since the key went off
    pins: tuple[bool, bool, bool, bool] = (False, False, False, False)
    faults: frozenset[str] = field(default_factory=frozenset)

    def _has(self, fault: str) -> bool:
        return fault in self.faults

    def _closed(self, contact: bool, stuck: str) -> bool:
        return contact or self._has(stuck)

    def outputs(self) -> tuple[bool, bool, bool, bool]:
        """The four answers, in the order of OUTPUTS."""
        held = self.board_fed and not self._has(F1)
        supply, back, heat, run_on = (pin and held for pin in self.pins)  # without feed a pull-down decides
        key = self._closed(self.key, KEY_STUCK)
        chain = (
            self._closed(run_on, RUN_ON_WELDED)
            and self._closed(self.in_time, TIMER_STUCK)
            and self._closed(self.brake, BRAKE_STUCK)
            and self._closed(self.neutral, NEUTRAL_STUCK)
            and self._closed(self.bonnet, BONNET_STUCK)
            and not self._has(F5)
        )
        return (
            key
            and self._closed(self.ready, SELECTOR_STUCK)
            and self._closed(supply, SUPPLY_SHORTED)
            and not self.faults & {F2, SUPPLY_WIRE},
            held and self._closed(back, RETURN_SHORTED) and not self.faults & {F3, RETURN_WIRE},
            self._closed(self.engine, ENGINE_RELAY_WELDED)
            and self._closed(heat, HEATER_WELDED)
            and not self.faults & {F4, HEATER_WIRE, CUT_OUT_OPEN},
            (key or chain) and not self._has(STOP_WIRE),
        )


def answers(feeds: Feeds) -> list[str]:
    """Each output under every command that the board could give: `off`, `on`, or that the board decides."""
    seen: list[set[bool]] = [set(), set(), set(), set()]
    for pins in product((False, True), repeat=4):
        for place, on in enumerate(replace(feeds, pins=pins).outputs()):
            seen[place].add(on)
    return ["as the board says" if len(each) == 2 else "on" if True in each else "off" for each in seen]


_OFF = {"key": False, "engine": False}  # key off


def situations() -> Iterator[tuple[str, Feeds, str]]:
    """What it is, the feeds, and who guards what is still on. Driving on READY unless it says otherwise."""
    whole = Feeds()

    def wrong(*faults: str, **changed: bool) -> Feeds:
        return replace(whole, faults=frozenset(faults), **changed)

    yield "nothing wrong", whole, "the board"
    yield (
        "key off, board still awake (or its hold switch stuck)",
        replace(whole, **_OFF),
        "the board; it lets its feed go within 10 min",
    )
    yield "key off, time of the timer relay over", replace(whole, **_OFF, in_time=False), "timer relay"
    yield (
        "key off, bonnet open (brake released, out of neutral: the same)",
        replace(whole, **_OFF, bonnet=False),
        "each switch alone",
    )
    yield "key off, board has let its feed go", replace(whole, **_OFF, board_fed=False), "-"
    yield "selector on DIESEL", replace(whole, ready=False), "the selector's own contact"
    yield (
        "engine stopped, key on",
        replace(whole, engine=False),
        "engine-running relay; the board ends the valves in 1 s",
    )
    yield (
        "board dead, unplugged or in reset: its pins float",
        replace(whole, board_fed=False),
        "pull-downs at the gates",
    )
    yield "F1 blown", wrong(F1), "the selector on DIESEL costs nothing: use it"
    yield "F2 blown, or a wire of the supply valve broken", wrong(F2, SUPPLY_WIRE), "the valve's spring"
    yield (
        "F3 blown, or a wire of the return valve broken",
        wrong(F3, RETURN_WIRE),
        "purge flows to the diesel tank: contact tells",
    )
    yield "F4 blown, heater wire broken, or cut-out open", wrong(F4, HEATER_WIRE, CUT_OUT_OPEN), "-"
    yield "F5 blown", wrong(F5), "the key feeds the solenoid by the car's own fuse"
    yield "wire of the stop solenoid broken", wrong(STOP_WIRE), "the engine stops"
    yield (
        "supply stage shorted, or its wire chafed to ground",
        wrong(SUPPLY_SHORTED),
        "contact tells; **selector on DIESEL**; key",
    )
    yield "the same, selector on DIESEL", wrong(SUPPLY_SHORTED, ready=False), "-"
    yield "the same, key off", wrong(SUPPLY_SHORTED, **_OFF), "-"
    yield "key contact stuck, key off", wrong(KEY_STUCK, **_OFF), "selector on DIESEL; the engine's own stop"
    yield (
        "selector contact stuck, selector on DIESEL",
        wrong(SELECTOR_STUCK, ready=False),
        "the board, by the selector's other contact; key",
    )
    yield (
        "return stage shorted, or its wire chafed to ground",
        wrong(RETURN_SHORTED),
        "contact tells; **pull F3** before the oil tank is full",
    )
    yield "the same, board has let its feed go", wrong(RETURN_SHORTED, **_OFF, board_fed=False), "-"
    yield "heater relay welded", wrong(HEATER_WELDED), "thermal cut-out; F4"
    yield "the same, engine stopped", wrong(HEATER_WELDED, engine=False), "-"
    yield "engine-running relay welded, engine stopped", wrong(ENGINE_RELAY_WELDED, engine=False), "the board"
    yield (
        "both welded, engine stopped (two faults)",
        wrong(HEATER_WELDED, ENGINE_RELAY_WELDED, engine=False),
        "thermal cut-out; F4; **pull F4**",
    )
    yield (
        "run-on relay welded, key off",
        wrong(RUN_ON_WELDED, **_OFF),
        "timer relay; brake, neutral, bonnet, each alone; the engine's own stop",
    )
    yield "the same, time of the timer relay over", wrong(RUN_ON_WELDED, **_OFF, in_time=False), "-"
    yield (
        "timer relay stuck, key off, its time over",
        wrong(TIMER_STUCK, **_OFF, in_time=False),
        "the board; brake, neutral, bonnet",
    )


def truth_page() -> str:
    """The truth table of the hardware alone."""
    rows = ([name, *answers(feeds), guard] for name, feeds, guard in situations())
    return table(["driving on READY, and", *OUTPUTS, "who guards"], rows)
