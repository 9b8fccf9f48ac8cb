"""The thresholds that the interlock table compares with, taken out of the settings once."""

from changeover.sensing import GOOD, Channel
from changeover.settings import LOOPED_RETURN, TANK_RETURN, purge_ul

_ANY_CDEGC = -30000  # colder than anything
_LOOP_WARMS_CDEGC = (
    1800  # hot oil warms what goes round by more, before much of it is oil: the simulated car, -20 to 20 degC
)


class Limits:
    """One attribute a threshold, in the settings' units; the names are those of the table's texts."""

    def __init__(self, values: dict[str, int]) -> None:
        self.oil_entry = values["oil_entry_cdegc"]
        # in a loop only what is burnt flows: pump and feed line, while cold, would cool it below the limit again
        looped = values["layout"] == LOOPED_RETURN
        self.pump_entry = values["oil_limit_cdegc"] - _LOOP_WARMS_CDEGC if looped else _ANY_CDEGC
        self.oil_exit = values["oil_exit_cdegc"]
        self.oil_hot = values["oil_hot_cdegc"]
        self.coolant_entry = values["coolant_entry_cdegc"]
        self.coolant_exit = values["coolant_exit_cdegc"]
        self.starved = values["suction_starved_pa"]
        self.suction_block = values["suction_block_pa"]
        self.suction_force = values["suction_force_pa"]
        self.supply_block = values["supply_block_mv"]
        self.supply_force = values["supply_force_mv"]
        self.oil_low_block = values["oil_low_block_permille"]
        self.oil_low_force = values["oil_low_force_permille"]
        self.oil_full = values["oil_full_permille"]
        # uL of diesel into mL of tank is permille of level; a loop returns nothing to the tank
        self.oil_room = self.oil_full
        if values["layout"] == TANK_RETURN:
            self.oil_room -= -(-purge_ul(values) // values["oil_tank_ml"])  # rounded up: the purge has to fit
        self.diesel_low_block = values["diesel_low_block_permille"]
        self.diesel_low_force = values["diesel_low_force_permille"]
        self.reverts_max = values["reverts_max"]

    def loop_cold(self, inlet: Channel) -> bool:
        """In a looped return: what goes round at the pump is too cold to be warmed in time."""
        return inlet.reason == GOOD and inlet.value < self.pump_entry
