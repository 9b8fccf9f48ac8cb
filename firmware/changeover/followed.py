"""Have the valves followed? Contacts tell; without one the supply valve is judged by the pump-inlet temperature."""

from changeover import rows
from changeover.inputs import ENGINE, RETURN_CONTACT, SUPPLY_CONTACT, Inputs
from changeover.machine import Machine
from changeover.sensing import GOOD, OIL, PUMP_INLET, Channel
from changeover.settings import TANK_RETURN, flow_low_ul_s

_DIFFERENCE_CDEGC = 1500  # less than this between the two fuels and nothing can be told
_MOVED_CDEGC = 500
_HOT_CDEGC = 5500  # diesel from a tank is colder than this


class Follower:
    """`unfollowed`: the last change of command has not shown in the temperature within its window."""

    def __init__(self, values: dict[str, int], inlet: Channel, oil: Channel) -> None:
        self._inlet = inlet
        self._oil = oil
        # path volume at the lowest flow, 10 s more; whole seconds: the worst case (3 000 000 uL at 40 uL/s) stays small
        self._window_s = values["path_ul"] // flow_low_ul_s(values) + 11
        self._from_tank = values["layout"] == TANK_RETURN
        self._commanded = False
        self._start = 0
        self._sign = 0  # +1: a rise is due, -1: a fall, 0: nothing can be told
        self._elapsed_ms = 0
        self._elapsed_s = 0
        self.unfollowed = False

    def restart(self) -> None:
        """A new trip: the verdict goes with the last one."""
        self._sign = 0
        self.unfollowed = False

    def step(self, commanded: bool, dt_ms: int) -> None:
        """One tick with the engine running. `commanded`: supply valve energised."""
        if commanded != self._commanded:
            self._commanded = commanded
            self._begin(commanded)
        if self._sign == 0 or self._inlet.reason != GOOD:
            return
        if (self._inlet.value - self._start) * self._sign >= _MOVED_CDEGC:
            self._sign = 0
            return
        self._elapsed_ms += dt_ms
        if self._elapsed_ms >= 1000:
            self._elapsed_ms -= 1000
            self._elapsed_s += 1
            if self._elapsed_s >= self._window_s:
                self._sign = 0
                self.unfollowed = True

    def in_doubt(self) -> bool:
        """Diesel is commanded and due at the pump, and neither has it shown nor has its time run out."""
        return self._sign < 0 and self._inlet.reason == GOOD

    def _begin(self, commanded: bool) -> None:
        inlet = self._inlet
        self.unfollowed = False
        self._elapsed_ms = 0
        self._elapsed_s = 0
        self._start = inlet.value
        self._sign = 0
        if inlet.reason == GOOD and self._oil.reason == GOOD:
            if commanded and self._oil.value - inlet.value >= _DIFFERENCE_CDEGC:
                self._sign = 1
            elif not commanded and self._from_tank and inlet.value >= _HOT_CDEGC:
                self._sign = -1


class Followed:
    """`step` gives the rows, as bits, whose valve is not where it is commanded; their hold times are the table's."""

    def __init__(self, values: dict[str, int], inputs: Inputs, machine: Machine) -> None:
        self._inputs = inputs
        self._machine = machine
        self._follower = Follower(values, inputs.channel[PUMP_INLET], inputs.channel[OIL])
        self._supply_contact = values["fit_supply_contact"] == 1
        self._return_contact = values["fit_return_contact"] == 1 and values["layout"] == TANK_RETURN

    def restart(self) -> None:
        """A new trip begins."""
        self._follower.restart()

    def step(self, dt_ms: int) -> int:
        """One tick."""
        contact = self._inputs.contact
        machine = self._machine
        found = 0
        if self._supply_contact:
            if contact[SUPPLY_CONTACT].on != machine.supply_on:
                found = 1 << rows.SUPPLY_VALVE
        else:
            if contact[ENGINE].on:
                self._follower.step(machine.supply_on, dt_ms)
            if self._follower.unfollowed:
                found = 1 << rows.SUPPLY_VALVE
        machine.valve_in_doubt = found != 0 or self._follower.in_doubt()
        if self._return_contact and contact[RETURN_CONTACT].on != machine.return_on:
            found |= 1 << rows.RETURN_VALVE
        return found
