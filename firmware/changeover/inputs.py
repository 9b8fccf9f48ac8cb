"""All inputs of the law, read in one place: analog channels by index, digital ones debounced."""

from changeover.sensing import (
    BARO,
    GOOD,
    OIL,
    OIL_TANK,
    SUCTION,
    Channel,
    Contact,
    Linear,
    Thermistor,
)

KEY, ENGINE, READY, BUTTON, SUPPLY_CONTACT, RETURN_CONTACT, BRAKE, NEUTRAL, BONNET, LIGHTING = range(10)


class Inputs:
    """`channel[i]` and `contact[i]` by the indices above; `step` takes lists of raw counts and levels in that order."""

    def __init__(self, values: dict[str, int]) -> None:
        absolute = values["suction_absolute"] == 1
        self.absolute = absolute
        suction_range = (0, 130000) if absolute else (-3000, 101325)
        self.channel: list[Channel] = [
            Thermistor(True, values, values["coolant_trim_cdegc"]),
            Thermistor(True, values, values["oil_trim_cdegc"]),
            Linear(True, values["suction_zero_counts"], values["suction_pa_per_kcount"], 1000, *suction_range, 900),
            Thermistor(values["fit_oil_tank_ntc"] == 1, values, 0),
            # another fuel arrives there at once: no jump limit
            Thermistor(values["fit_pump_inlet_ntc"] == 1, values, 0, 0),
            self._level(values, "oil"),
            self._level(values, "diesel"),
            # a board that runs has more than 4 V at its feed
            Linear(values["fit_supply"] == 1, 0, values["supply_uv_per_count"], 1000, 4000, 40000, -1),
            Thermistor(values["fit_ambient"] == 1, values, 0),
            Linear(absolute, values["baro_zero_counts"], values["baro_pa_per_kcount"], 1000, 40000, 115000, 900),
        ]
        # key, engine: the shortest believable edge; selector, button: a finger's; valve contacts: their own bounce
        self.contact = [Contact(2, 3), Contact(2, 4), Contact(3, 2), Contact(2, 2)] + [Contact(2, 2) for _ in range(6)]
        self.suction_pa = 0  # below ambient, positive; meaningful while `suction_reason` is GOOD
        self.suction_reason = self.channel[SUCTION].reason

    def _level(self, values: dict[str, int], tank: str) -> Linear:
        zero = values[tank + "_level_zero_counts"]
        span = values[tank + "_level_full_counts"] - zero
        return Linear(values["fit_" + tank + "_level"] == 1, zero, 1000, span if span > 0 else 1, -100, 1100, 900)

    def restart(self) -> None:
        """A new trip begins."""
        for channel in self.channel:
            channel.restart()

    def oil_coldest(self) -> int:
        """Coldest trusted oil in 0.01 degC: filter outlet, and tank outlet where fitted."""
        oil = self.channel[OIL].value
        tank = self.channel[OIL_TANK]
        return tank.value if tank.reason == GOOD and tank.value < oil else oil

    def step(self, counts: list[int], levels: list[bool]) -> None:
        """One tick's samples."""
        channel = self.channel
        index = 0
        while index < 10:
            channel[index].step(counts[index])
            index += 1
        self._suction()
        contact = self.contact
        index = 0
        while index < 10:
            contact[index].step(levels[index])
            index += 1

    def _suction(self) -> None:
        suction = self.channel[SUCTION]
        self.suction_pa = suction.value
        self.suction_reason = suction.reason
        if self.absolute:
            baro = self.channel[BARO]
            self.suction_pa = baro.value - suction.value
            if suction.reason == GOOD:
                self.suction_reason = baro.reason
