"""The thresholds that the interlock table compares with, taken out of the settings once."""

from changeover.sensing import GOOD, Channel
from changeover.settings import pump_entry_cdegc, purge_permille


class Limits:
    """One attribute a threshold, in the settings' units; the names are those of the table's texts."""

    def __init__(self, values: dict[str, int]) -> None:
        self.oil_entry = values["oil_entry_cdegc"]
        self.pump_entry = pump_entry_cdegc(values)
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
        self.oil_room = self.oil_full - purge_permille(values)
        self.diesel_low_block = values["diesel_low_block_permille"]
        self.diesel_low_force = values["diesel_low_force_permille"]
        self.reverts_max = values["reverts_max"]

    def loop_cold(self, inlet: Channel) -> bool:
        """In a looped return: what goes round at the pump is too cold to be warmed in time."""
        return inlet.reason == GOOD and inlet.value < self.pump_entry
