"""The electric filter heater: when it may be on, and whether it heats."""

_COOLANT_WARM_CDEGC = 4000  # the alternator has made good the cranking, and a swapped pair of sensors can still be seen
_BAND_CDEGC = 200
_PROOF_S = 300  # on, with no oil flowing: by then a working heater shows
_PROOF_CDEGC = 200
_CHARGING_MV = 12800


class Heater:
    """`on` is the command; `failed` stands until the element has been seen to heat, `used` until the next key-on."""

    def __init__(self, values: dict[str, int]) -> None:
        self._fitted = values["fit_heater"] == 1
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

    def step(self, allowed: bool, coolant_cdegc: int, oil_cdegc: int, supply_mv: int) -> None:
        """One tick. `allowed`: engine running, sensors trusted, driver on READY, the board may move things."""
        self.on = (
            self._fitted
            and allowed
            and coolant_cdegc >= _COOLANT_WARM_CDEGC
            and supply_mv >= _CHARGING_MV
            and oil_cdegc < (self._off_cdegc if self.on else self._off_cdegc - _BAND_CDEGC)
        )
        self.used = self.used or self.on

    def second(self, flowing: bool, oil_cdegc: int) -> None:
        """One second; `flowing`: oil is drawn, so the temperature says nothing about the heater."""
        if not self.on or flowing:
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
