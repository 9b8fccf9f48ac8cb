"""The electric filter heater: when it may be on, and whether it heats."""

from changeover.inputs import ENGINE, Inputs
from changeover.machine import Machine
from changeover.sensing import COOLANT, GOOD, OIL, SUPPLY
from changeover.settings import ADVISE
from changeover.states import PARKED

_COOLANT_WARM_CDEGC = 4000  # the alternator has made good the cranking, and a swapped pair of sensors can still be seen
_BAND_CDEGC = 200
_PROOF_S = 300  # on, with no oil flowing: by then a working heater shows
_PROOF_CDEGC = 200
_LEAD_CDEGC = 1000  # of the coolant: nearer to it the filter may lose as much as a heater gives
_CHARGING_MV = 12800
_ENGINE_MS = 3000


class Heater:
    """`on` is the command; `failed` stands until the element has been seen to heat, `used` until the next key-on."""

    def __init__(self, values: dict[str, int], inputs: Inputs, machine: Machine) -> None:
        self._inputs = inputs
        self._machine = machine
        self._may_be_used = values["fit_heater"] == 1 and values["authority"] != ADVISE
        self._supply_fitted = values["fit_supply"] == 1
        self._off_cdegc = values["heater_off_cdegc"]
        self.on = False
        self.used = False
        self.failed = False
        self._proof_s = 0
        self._start_cdegc = 0

    def restart(self) -> None:
        """A new trip begins."""
        self.on = False
        self.used = False
        self._proof_s = 0

    def step(self) -> None:
        """One tick, after the machine's."""
        if not self._may_be_used:
            return
        oil = self._inputs.channel[OIL]
        limit = self._off_cdegc if self.on else self._off_cdegc - _BAND_CDEGC
        self.on = self._may_heat() and oil.reason == GOOD and oil.value < limit
        if self.on:
            self.used = True

    def second(self, flowing: bool, oil_cdegc: int) -> None:
        """One second; `flowing`: oil is drawn, so the temperature says nothing about the heater."""
        if not self.on or flowing or self._inputs.channel[COOLANT].value < oil_cdegc + _LEAD_CDEGC:
            self._proof_s = 0
            return
        if self._proof_s == 0:
            self._start_cdegc = oil_cdegc
        self._proof_s += 1
        if oil_cdegc - self._start_cdegc >= _PROOF_CDEGC:
            self.failed = False
            self._proof_s = 0
        elif self._proof_s >= _PROOF_S:
            self.failed = True

    def _may_heat(self) -> bool:
        machine = self._machine
        if machine.state == PARKED or machine.wishes.stop_held:
            return False
        if not self._inputs.contact[ENGINE].on or machine.engine_ms < _ENGINE_MS:
            return False
        coolant = self._inputs.channel[COOLANT]
        if coolant.reason != GOOD or coolant.value < _COOLANT_WARM_CDEGC:
            return False
        supply = self._inputs.channel[SUPPLY]
        return not self._supply_fitted or (supply.reason == GOOD and supply.value >= _CHARGING_MV)
