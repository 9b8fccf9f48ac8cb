"""Hazards H1 to H10, judged by the simulated car alone. The monitors read truth and what the driver is shown, nothing that the law decides by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from changeover import messages, rows
from host_sim.fluids import refutas_index, refutas_nu
from host_sim.truth import Truth

if TYPE_CHECKING:
    from host_sim.virtual_board import VirtualBoard

# Limits: judgement of this project, to be questioned; the viscosity ones from what light-diesel pumps are said to accept
# (10 to 20 mm2/s, common practice, no source).
THICK_MM2_S, THICK_ML = 20.0, 50.0
THICK_RESTART_MM2_S = 30.0
CONTAMINATION_SHARE = 0.02
STARVED_PA, STARVED_S, AIR_S = 40000.0, 3.0, 2.0
METAL_C, HEATER_ALONE_S, RESERVE = 110.0, 2.0, 0.5
RUN_ON_S, RUN_ON_END_S = 120.0, 1.0  # whole time; from its end, or a switch that opens, to a stopped engine
ON_OIL_ALONE_S = 3.0
FOLLOW_S, FOLLOW_BLIND_S = 2.0, 60.0
OVERFULL = 0.97
NEARLY_EMPTY = 0.05
_ROUNDING = 1e-9  # of times added up tick by tick
# Less than one and a half volumes of diesel through the path, worst law, is no purge: 1 / (4 theta)
UNPURGED_SHARE = 1.0 / (4.0 * 1.5)
_TRACE = 0.02  # more than the laws' rounding

NAMES = {
    "H1": "oil too thick at the injection pump",
    "H2": "oil left standing until cold, driver not told",
    "H3": "oil into the diesel tank",
    "H4": "fuel starvation",
    "H5": "heater",
    "H6": "engine held running outside its interlocks",
    "H7": "oil without command, or forgotten in the lines",
    "H8": "driver told something untrue",
    "H9": "valve not where commanded, nobody told",
    "H10": "fuel about to spill",
}

_WARNINGS = (messages.OIL_LEFT, messages.PURGE_CUT, rows.LINES)
_LOW = (rows.OIL_LOW, rows.DIESEL_LOW)
_VALVE_WORDS = (rows.SUPPLY_VALVE, rows.RETURN_VALVE)


@dataclass
class Hazard:
    """One hazard that passed its limit: when first, the worst value, and whether it follows a warning that the driver overrode."""

    id: str
    time_s: float
    value: float
    limit: float
    unit: str
    told: bool
    text: str

    @property
    def name(self) -> str:
        """The hazard in words."""
        return NAMES[self.id]


class Monitors:
    """All ten monitors. `step` after each tick of car and board; `found` holds what passed its limit, one entry an event."""

    def __init__(self, board: VirtualBoard, truth: Truth) -> None:
        self.board = board
        self.car = board.car
        self.truth = truth
        self.found: list[Hazard] = []
        self.margins: dict[str, float] = dict.fromkeys(NAMES, 0.0)  # worst value over limit, 1 is the limit
        self._open: dict[str, Hazard] = {}
        self._thick = refutas_index(THICK_MM2_S)
        self._thick_restart = refutas_index(THICK_RESTART_MM2_S)
        self._thick_ml = 0.0
        self._restart = False
        self._left_over = 0.0  # oil inside since key-on that no new oil has joined
        self._warned = False
        self._low_told = False
        self._room_told = False
        self._was_key = False
        self._was_running = False
        self._starved_s = 0.0
        self._air_s = 0.0
        self._heater_s = 0.0
        self._run_on_s = 0.0
        self._run_on_outside_s = 0.0
        self._alone_s = 0.0
        self._off_s = {"supply valve": 0.0, "return valve": 0.0}
        self._off_told = {"supply valve": False, "return valve": False}
        self._untrue_s = 0.0
        self._untrue_message = -1
        self._spoilt_ml = 0.0
        self._spoilt_told_ml = 0.0

    def step(self, t_s: float, dt_s: float) -> None:
        """Judge the `dt_s` seconds that ended at `t_s`."""
        car = self.car
        running = car.engine_running
        if running:
            if not self._was_running:
                self._start(t_s)
            waits = self._thick_ml or self._starved_s or self._air_s
            if waits or car.path.worst_inside_oil > 0.0 or car.pump_suction_pa > STARVED_PA or car.air_at_pump:
                self._pump(t_s, dt_s)
        elif self._was_running:
            self._starved_s = 0.0
            self._air_s = 0.0
        if car.supply_valve_pos > 0.5 or car.command_supply_oil:
            self._valve_alone(t_s, dt_s, running)
        elif self._alone_s:
            self._alone_s = 0.0
        if car.key_on != self._was_key:
            self._key()
        if running != car.key_on or car.heater_on or car.heater_metal_c > 80.0 or self._heater_s or self._run_on_s:
            self._rare(t_s, dt_s)
        self._followed(t_s, dt_s)
        self._told_truth(t_s, dt_s)
        self._was_running = running
        self._was_key = car.key_on

    def slow(self, t_s: float) -> None:
        """What changes slowly: tanks and record. Once a second while driving, once an hour is enough in a parked car."""
        car = self.car
        spoilt_ml = car.oil_into_diesel_tank_worst
        powered = self.board.powered
        if powered and self._room_told:  # a purge was owed, and he drove on although its tank has no room
            self._spoilt_told_ml += spoilt_ml - self._spoilt_ml
        diesel_ml = max(car.diesel_ul * 1e-3, 1.0)
        told = spoilt_ml - self._spoilt_told_ml <= CONTAMINATION_SHARE * diesel_ml
        self._judge(
            "H3", t_s, spoilt_ml / diesel_ml, CONTAMINATION_SHARE, "share of the tank", "oil in the diesel tank", told
        )
        if powered:
            self._spoilt_ml = spoilt_ml
        else:
            lost = spoilt_ml - self._spoilt_ml
            self._judge(
                "H3",
                t_s,
                lost,
                self.board.values["path_ul"] / 1000.0,
                "mL",
                "oil into the diesel tank while the board had no power",
            )
        for level, tank in ((car.oil_level, "oil tank"), (car.diesel_level, "diesel tank")):
            self._judge("H10", t_s, level, OVERFULL, "share", tank)
        if not car.engine_running and not self.board.law.machine.write_wanted:
            inside = car.path.worst_inside_oil
            if not self.board.remembers_oil():
                self._judge("H7", t_s, inside, UNPURGED_SHARE, "share", "oil in the lines, and the record says none")

    def _judge(
        self, hazard: str, t_s: float, value: float, limit: float, unit: str, text: str, told: bool = False
    ) -> None:
        if limit > 0.0 and value / limit > self.margins[hazard]:
            self.margins[hazard] = value / limit
        key = hazard + text
        event = self._open.get(key)
        if value > limit + _ROUNDING:
            if event is None:
                event = Hazard(hazard, t_s, value, limit, unit, told, text)
                self._open[key] = event
                self.found.append(event)
            event.value = max(event.value, value)
        elif event is not None:
            del self._open[key]

    def _key(self) -> None:
        """A key that was turned: what is left in the lines, or a warning that has yet to come, counts from here."""
        if self.car.key_on:
            self._restart = self.car.path.worst_inside_oil > UNPURGED_SHARE
            self._left_over = self.car.path.worst_inside_oil
            self._low_told = self._room_told = False
        else:
            self._warned = False

    def _start(self, t_s: float) -> None:
        index = self.car.inside_index_worst
        told = self._warned
        if index > self._thick_restart:
            nu = refutas_nu(index)
            self._judge("H2", t_s, nu, THICK_RESTART_MM2_S, "mm2/s", "left between supply valve and injectors", told)
            self._open.pop("H2left between supply valve and injectors", None)
        self.margins["H2"] = max(self.margins["H2"], refutas_nu(index) / THICK_RESTART_MM2_S)

    def _pump(self, t_s: float, dt_s: float) -> None:
        car = self.car
        if self._restart and car.path.worst_inside_oil < UNPURGED_SHARE:
            self._restart = False
        inside = car.path.worst_inside_oil
        if inside > self._left_over + _TRACE:
            self._left_over = 0.0  # new oil has come in
        else:
            self._left_over = min(self._left_over, inside)
        oily = inside > _TRACE  # deep frost thickens diesel, too: not by anything that was changed over
        if oily and car.pump_index_worst > (self._thick_restart if self._restart else self._thick):
            self._thick_ml += car.feed_ul_s * dt_s / 1000.0
            told = self._left_over > 0.0 and self._warned  # what was left in the lines, and he was told of it
            self._judge("H1", t_s, self._thick_ml, THICK_ML, "mL", "thick fuel through the pump", told)
        elif self._thick_ml:
            self._thick_ml = 0.0
        starved = car.pump_suction_pa > STARVED_PA
        self._starved_s = self._starved_s + dt_s if starved else 0.0
        if starved:
            self._judge("H4", t_s, self._starved_s, STARVED_S, "s", "suction above 40 kPa")
        self._air_s = self._air_s + dt_s if car.air_at_pump else 0.0
        if self._air_s:
            told = (
                self._low_told and min(car.oil_level, car.diesel_level) < NEARLY_EMPTY
            )  # and that is where it comes from
            self._judge("H4", t_s, self._air_s, AIR_S, "s", "air at the pump", told)

    def _valve_alone(self, t_s: float, dt_s: float, running: bool) -> None:
        """H7: the supply valve stands on oil although no living board with a running engine holds it there."""
        if running and self.board.supply_pin:
            self._alone_s = 0.0
            return
        if self.car.supply_valve_pos > 0.5:
            self._alone_s += dt_s
            self._judge("H7", t_s, self._alone_s, ON_OIL_ALONE_S, "s", "supply valve on oil without command")

    def _rare(self, t_s: float, dt_s: float) -> None:
        car = self.car
        self._judge("H5", t_s, car.heater_metal_c, METAL_C, "degC", "heater metal")
        self._heater_s = self._heater_s + dt_s if car.heater_on and not car.engine_running else 0.0
        self._judge("H5", t_s, self._heater_s, HEATER_ALONE_S, "s", "heater on with the engine off")
        if car.heater_on:
            self._judge(
                "H5", t_s, 1.0 - car.battery_charge, 1.0 - RESERVE, "share", "battery below its restart reserve"
            )
        if car.engine_running and not car.key_on:
            self._run_on_s += dt_s
            self._judge("H6", t_s, self._run_on_s, RUN_ON_S + RUN_ON_END_S, "s", "engine held running too long")
            may = car.run_on.within_interlocks and self.board.values["run_on_s"] > 0
            self._run_on_outside_s = 0.0 if may else self._run_on_outside_s + dt_s
            self._judge(
                "H6", t_s, self._run_on_outside_s, RUN_ON_END_S, "s", "engine held running outside its interlocks"
            )
        else:
            self._run_on_s = self._run_on_outside_s = 0.0

    def _followed(self, t_s: float, dt_s: float) -> None:
        """H9, while fuel may flow: in a parked car nothing passes a valve."""
        car = self.car
        if not (car.key_on or car.engine_running):
            self._off_s["supply valve"] = self._off_s["return valve"] = 0.0
            return
        away = (car.supply_valve_pos > 0.5) != self.board.supply_pin
        if away or self._off_s["supply valve"]:
            self._unfollowed(t_s, dt_s if away else 0.0, "fit_supply_contact", "supply valve")
        away = (car.return_valve_pos > 0.5) != self.board.return_pin
        if away or self._off_s["return valve"]:
            self._unfollowed(t_s, dt_s if away else 0.0, "fit_return_contact", "return valve")

    def _unfollowed(self, t_s: float, more_s: float, contact: str, valve: str) -> None:
        """`more_s`: so much longer away from its command, 0 when back. Told once is told, whatever graver is shown next."""
        seconds = self._off_s[valve] + more_s if more_s else 0.0
        self._off_s[valve] = seconds
        shown = self.board.powered and self.board.law.panel.message in _VALVE_WORDS
        told = more_s > 0.0 and (shown or self._off_told[valve])
        self._off_told[valve] = told
        limit = FOLLOW_S if self.board.values[contact] else FOLLOW_BLIND_S
        # what its contact shows after 2 s still has to be read, debounced and said
        self._judge("H9", t_s, 0.0 if told else seconds, limit + 1.0, "s", valve)

    def _told_truth(self, t_s: float, dt_s: float) -> None:
        """H8: what stands on the display, against its truth predicate; and, for H2, whether a warning stood around key-off."""
        if not self.board.powered:
            return
        message = self.board.law.panel.message
        if not self.car.key_on and message in _WARNINGS:
            self._warned = True
        if message in _LOW:
            self._low_told = True
        if message == rows.NO_ROOM and self.truth.holds(message):
            self._room_told = True
        if self.truth.holds(message):
            self._untrue_s = 0.0
            self._untrue_message = -1
            return
        if message != self._untrue_message:
            self._untrue_message = message
            self._untrue_s = 0.0
        self._untrue_s += dt_s
        limit = self.truth.telling_s(message)
        self._judge("H8", t_s, self._untrue_s, limit, "s", messages.ENGLISH[message][0])
