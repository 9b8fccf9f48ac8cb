"""The overview schematic: `python -m drawings.schematic` in `tools/` writes `hardware_notes/overview.svg`."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Literal

import schemdraw
from schemdraw import elements as elm

from drawings import networks
from drawings.cables import circuits, fuse_a
from drawings.networks import ohm
from pins import gpio

PICTURE = Path(__file__).parents[2] / "hardware_notes" / "overview.svg"

_FUSES = {circuit.fuse: f"{circuit.fuse}  {fuse_a(circuit.amps):g} A" for circuit in circuits()}
_TOP, _GROUND = 0.0, -17.0


def _pin(name: str) -> str:
    return f"GP{gpio(name)} {name}"


class _Picture:
    """Elements by place: every branch runs down from its start and is labelled on its right."""

    def __init__(self) -> None:
        self.d = schemdraw.Drawing(show=False, fontsize=11, unit=2, inches_per_unit=0.45)
        self.d.config(bgcolor="white", margin=0.4)

    def text(
        self, x: float, y: float, words: str, size: float = 11, align: Literal["left", "center", "right"] = "left"
    ) -> None:
        self.d += elm.Label().at((x, y)).label(words, fontsize=size, halign=align, valign="center")

    def down(self, kind: type[elm.Element2Term], x: float, y: float, words: str = "", length: float = 2.0) -> float:
        """An element from (x, y) down; where it ends."""
        self.d += kind().at((x, y)).to((x, y - length))
        if words:
            self.text(x + 0.55, y - length / 2, words)
        return y - length

    def wire(self, *points: tuple[float, float]) -> None:
        for start, end in pairwise(points):
            self.d += elm.Line().at(start).to(end)

    def dot(self, x: float, y: float) -> None:
        self.d += elm.Dot().at((x, y))

    def ground(self, x: float, y: float) -> None:
        self.d += elm.Ground().at((x, y))

    def box(self, x: float, y: float, words: str, wide: float = 5.4, high: float = 1.6) -> float:
        """A block around (x, y) downwards; where it ends."""
        self.wire(
            (x - wide / 2, y), (x + wide / 2, y), (x + wide / 2, y - high), (x - wide / 2, y - high), (x - wide / 2, y)
        )
        self.text(x, y - high / 2, words, 10, "center")
        return y - high

    def contact(self, x: float, y: float, words: str) -> float:
        return self.down(elm.Switch, x, y, words, 1.6)

    def stage(self, x: float, y: float, name: str, q: str) -> None:
        """Low-side power stage from the coil's lower end at (x, y) to ground, its gate to the left."""
        fet = self.d.add(elm.NFet().at((x, y)).anchor("drain").theta(0).reverse())
        gate, source = fet.gate, fet.source
        self.text(x + 0.35, (y + source[1]) / 2, q)
        self.wire((source[0], source[1]), (x, _GROUND))
        left = gate[0] - 2.0
        self.d += elm.ResistorIEC().at((gate[0], gate[1])).to((left, gate[1]))
        self.text(left + 1.0, gate[1] + 0.55, ohm(networks.GATE_OHM), 9, "center")
        self.d += elm.Dot(open=True).at((left, gate[1]))
        self.text(left + 0.5, gate[1] - 0.9, _pin(name).replace(" ", "\n"), 10, "center")
        self.dot(gate[0], gate[1])
        self.d += elm.ResistorIEC().at((gate[0], gate[1])).to((gate[0], gate[1] - 2.0))
        self.text(gate[0] - 0.4, gate[1] - 1.9, ohm(networks.GATE_PULLDOWN_OHM), 9, "right")
        self.wire((gate[0], gate[1] - 2.0), (gate[0], _GROUND))

    def coil(self, x: float, y: float, words: str) -> float:
        """A coil with its flyback diode on the left."""
        end = y - 2.4
        self.d += elm.Inductor2().at((x, y)).to((x, end))
        self.text(x + 0.55, y - 1.2, words)
        self.wire((x, y), (x - 1.0, y))
        self.wire((x, end), (x - 1.0, end))
        self.d += elm.Diode().at((x - 1.0, end)).to((x - 1.0, y))
        self.dot(x, y)
        self.dot(x, end)
        return end


def draw() -> str:
    """The picture as SVG."""
    p = _Picture()
    _power(p)
    _inputs(p, -22.0)
    return p.d.get_imagedata("svg").decode()


def _power(p: _Picture) -> None:
    p.d += elm.Gap().at((38.6, _TOP)).to((39.6, _TOP))  # room for the words at the right
    p.text(-1.5, 2.0, "Feeds and power stages. Every contact is drawn at rest: no current, diesel.", 14)
    p.text(-1.5, 1.0, "battery +   (each fuse within 0.3 m of it)")
    p.wire((0, _TOP), (34.2, _TOP))
    p.wire((0, _GROUND), (34.2, _GROUND))
    p.d += elm.Battery().at((0, _TOP - 6)).to((0, _TOP - 10)).reverse()
    p.wire((0, _TOP), (0, _TOP - 6))
    p.wire((0, _TOP - 10), (0, _GROUND))
    p.text(0.6, -8, "12 V")
    p.ground(0, _GROUND)

    # board
    x = 4.5
    y = p.down(elm.Fuse, x, _TOP, _FUSES["F1"])
    y = p.box(x, y, "reverse polarity switch\nand transient suppressor")
    p.wire((x, y), (x, y - 0.6))
    y = p.box(x, y - 0.6, "hold switch, closed by\nkey or " + _pin("power_hold"))
    p.wire((x, y), (x, y - 0.8))
    held = y - 0.8
    p.dot(x, held)
    p.wire((x, held), (x, held - 0.8))
    y = p.box(x, held - 0.8, "converter to 5 V")
    p.wire((x, y), (x, y - 0.6))
    y = p.box(x, y - 0.6, "board: Pico\nVSYS by a Schottky diode", high=2.0)
    p.wire((x, y), (x, _GROUND))

    # return valve
    x = 12.0
    p.wire((4.5, held), (x, held))
    p.text(7.2, held + 0.4, "held feed", 10)
    y = p.down(elm.Fuse, x, held, _FUSES["F3"], 1.6)
    y = p.coil(x, y, "return\nvalve")
    p.stage(x, y, "return_valve", "Q2")

    # supply valve
    x = 19.0
    y = p.down(elm.Fuse, x, _TOP, _FUSES["F2"])
    y = p.contact(x, y, "key")
    y = p.contact(x, y, "selector,\nclosed on READY")
    p.wire((x, y), (x, held - 1.6))
    y = p.coil(x, held - 1.6, "supply\nvalve")
    p.stage(x, y, "supply_valve", "Q1")

    # heater
    x = 24.5
    y = p.down(elm.Fuse, x, _TOP, _FUSES["F4"])
    y = p.contact(x, y, "K1: engine\nruns")
    y = p.contact(x, y, "K2: board,\n" + _pin("filter_heater"))
    p.wire((x, y), (x, y - 0.4))
    y = p.down(elm.Breaker, x, y - 0.4, "thermal cut-out,\nopens when hot", 1.6)
    p.wire((x, y), (x, y - 0.8))
    y = p.down(elm.ResistorIEC, x, y - 0.8, "filter\nheater", 2.4)
    p.wire((x, y), (x, _GROUND))

    # run-on
    x = 30.0
    p.wire((x, _TOP), (x, -1.0))
    p.dot(x, _TOP)
    y = p.contact(x, -1.0, "key, by the\ncar's own fuse")
    p.wire((x, y), (x, -13.2))
    chain = 34.2
    y = p.down(elm.Fuse, chain, _TOP, _FUSES["F5"])
    for words in (
        "K3: board,\n" + _pin("run_on"),
        "timer relay,\nopens in 120 s",
        "parking brake on",
        "gear in neutral",
        "bonnet closed",
    ):
        y = p.contact(chain, y, words)
    p.wire((chain, y), (chain, -11.6), (x, -11.6))
    p.dot(x, -11.6)
    y = p.down(elm.Inductor2, x, -13.2, "stop solenoid: without\ncurrent the engine stops", 2.4)
    p.wire((x, y), (x, _GROUND))


def _inputs(p: _Picture, top: float) -> None:
    p.text(-1.5, top + 2.2, "Inputs and relay coils, one of each kind.", 14)
    low = top - 6.0
    # thermistor
    x = 1.0
    p.text(x - 1.2, top + 1.2, "thermistor (coolant, oil)")
    y = p.down(elm.ResistorIEC, x, top, f"{ohm(networks.NTC_PULLUP_OHM)}\n0.1 %")
    p.text(x + 0.3, top + 0.2, "ADC_VREF", 9)
    p.d += elm.Thermistor().at((x, y)).to((x, y - 2.4))
    p.text(x - 0.6, y - 1.2, "10 kΩ\nNTC", 9, "right")
    p.dot(x, y)
    p.wire((x, y - 2.4), (x, low))
    p.d += elm.ResistorIEC().at((x, y)).to((x + 3.2, y))
    p.text(x + 1.9, y - 0.7, ohm(networks.SERIES_OHM), 9, "center")
    _pin_end(p, x + 3.2, y, low, f"GP{gpio('coolant')}, GP{gpio('oil')}", clamp=True)

    # suction
    x = 9.6
    p.text(x - 1.8, top + 1.2, "suction (and each level)")
    p.wire((x, top), (x, top - 0.8))
    p.text(x + 0.3, top, "ADC_VREF", 9)
    bottom = p.box(x, top - 0.8, "sensor", 2.2, 2.4)
    p.wire((x, bottom), (x, low))
    p.wire((x + 1.1, y), (x + 1.6, y))
    p.d += elm.ResistorIEC().at((x + 1.6, y)).to((x + 1.6, low))
    p.text(x + 1.85, y - 2.6, ohm(networks.SIGNAL_PULLDOWN_OHM), 9)
    p.dot(x + 1.6, y)
    p.d += elm.ResistorIEC().at((x + 1.6, y)).to((x + 4.4, y))
    p.text(x + 3.0, y + 0.6, ohm(networks.SERIES_OHM), 9, "center")
    _pin_end(p, x + 4.4, y, low, f"GP{gpio('suction')}", clamp=True)

    # contact
    x = 19.4
    p.text(x - 1.2, top + 1.2, "contact (selector, button, valves ...)")
    p.down(elm.ResistorIEC, x, top, ohm(networks.CONTACT_PULLUP_OHM))
    p.text(x + 0.3, top + 0.2, "3V3", 9)
    p.dot(x, y)
    p.d += elm.Switch().at((x, y)).to((x, low))
    p.d += elm.ResistorIEC().at((x, y)).to((x + 3.0, y))
    p.text(x + 1.7, y - 0.7, ohm(networks.CONTACT_SERIES_OHM), 9, "center")
    _pin_end(p, x + 3.0, y, low, "pin", capacitor="100 nF")

    # 12 V line
    x = 26.6
    p.text(x - 0.6, top + 1.2, "12 V line (key, alternator, lighting)")
    p.d += elm.Dot(open=True).at((x, top))
    p.text(x + 0.3, top, "line", 9)
    p.down(elm.ResistorIEC, x, top, ohm(networks.ISOLATOR_OHM))
    p.box(x + 1.0, y, "isolator", 2.8, 1.8)
    p.wire((x, y - 1.8), (x, low - 0.9))
    p.text(x + 0.3, low - 0.6, "engine ground", 9)
    out = x + 2.0
    p.wire((out, y - 1.8), (out, low))
    p.wire((out, y), (out, y + 0.5), (out + 2.2, y + 0.5))
    p.down(elm.ResistorIEC, out + 1.4, top + 0.5, ohm(networks.ISOLATOR_PULLUP_OHM))
    p.text(out + 1.7, top + 0.7, "3V3", 9)
    p.dot(out + 1.4, y + 0.5)
    p.d += elm.Dot(open=True).at((out + 2.2, y + 0.5))
    p.text(out + 2.5, y + 0.5, "pin", 10)
    p.wire((-1.5, low), (25.5, low))
    p.wire((27.4, low), (34, low))
    p.text(
        -1.5, low - 0.7, "Sensor ground is one point at the board's AGND (pin 33); nothing else flows through it.", 10
    )
    _relay(p, low - 3.4)


def _pin_end(
    p: _Picture, x: float, y: float, low: float, name: str, clamp: bool = False, capacitor: str = "1 µF"
) -> None:
    """From a series resistor's end: clamp to the reference, filter, pin."""
    p.dot(x, y)
    p.d += elm.Capacitor().at((x, y)).to((x, low))
    p.text(x + 0.55, (y + low) / 2 + (0.4 if clamp else 0.0), capacitor, 9)
    if clamp:
        p.text(x + 0.55, (y + low) / 2 - 1.0, "clamp to\nADC_VREF\nand AGND", 9)
    p.wire((x, y), (x + 0.9, y))
    p.d += elm.Dot(open=True).at((x + 0.9, y))
    p.text(x + 0.9, y + 0.5, name, 10, "center")


def _relay(p: _Picture, top: float) -> None:
    words = (
        f"K2, K3 and buzzer: coil and diode on the held feed, power stage as Q1, from {_pin('filter_heater')}, {_pin('run_on')}, "
        f"{_pin('buzzer')}.\n"
        f"K1: coil on the key's feed, its stage's gate on the alternator's line through a {networks.ZENER_V:g} V Zener: the warning "
        f"lamp's 1 to 2 V do not close it.\n"
        f"The engine's and the lighting's isolators have such a Zener, too, and {ohm(networks.ZENER_SERIES_OHM)}."
    )
    p.text(-1.5, top + 1.4, words, 10)


def main() -> None:
    """Write the picture."""
    PICTURE.write_text(draw(), encoding="utf-8")


if __name__ == "__main__":
    main()
