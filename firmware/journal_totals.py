"""What a season came to. Nothing on the board measures volume or the time of day: volumes are credited at the lowest flow."""

from changeover import reasons
from changeover.inputs import ENGINE
from changeover.law import Law
from changeover.settings import flow_low_ul_s
from changeover.states import PARKED

TOTALS = ("oil_s", "diesel_s", "oil_ml", "purge_ml", "purges", "trips")  # in the order of `Totals.values`
_MOST = 0x3FFFFFFF


def _more(total: int, by: int) -> int:
    return min(total + by, _MOST)


class Totals:
    """`oil_s`, `diesel_s`: engine run time with the supply valve on either fuel. `oil_ml`: at least so much was drawn through
    the filter. `purge_ml`: diesel credited to purges, `purges` of which were completed. `trips`: key-offs. They saturate.
    """

    def __init__(self, values: dict[str, int]) -> None:
        self._flow_ul_s = flow_low_ul_s(values)
        self.oil_s = self.diesel_s = self.oil_ml = self.purge_ml = self.purges = self.trips = 0
        self._oil_ms = self._diesel_ms = self._oil_ul = self._purge_ul = self._credit_ul = 0

    def values(self) -> tuple[int, ...]:
        """In the order in which a block keeps them, that of TOTALS."""
        return (self.oil_s, self.diesel_s, self.oil_ml, self.purge_ml, self.purges, self.trips)

    def take(self, values: tuple[int, ...]) -> None:
        """Go on from what was kept."""
        self.oil_s, self.diesel_s, self.oil_ml, self.purge_ml, self.purges, self.trips = values

    def step(self, law: Law, dt_ms: int) -> None:
        """One tick, 0 to 1000 ms after the last. Worst case 32 000 * 1000."""
        machine = law.machine
        if law.inputs.contact[ENGINE].on:
            if machine.supply_on:
                self._oil_ms += dt_ms
                self._oil_ul += self._flow_ul_s * dt_ms // 1000
            else:
                self._diesel_ms += dt_ms
        credit_ul = machine.lines.credit_ul
        self._purge_ul += max(credit_ul - self._credit_ul, 0)
        self._credit_ul = credit_ul
        self.oil_s = _more(self.oil_s, self._oil_ms // 1000)
        self.diesel_s = _more(self.diesel_s, self._diesel_ms // 1000)
        self.oil_ml = _more(self.oil_ml, self._oil_ul // 1000)
        self.purge_ml = _more(self.purge_ml, self._purge_ul // 1000)
        self._oil_ms %= 1000
        self._diesel_ms %= 1000
        self._oil_ul %= 1000
        self._purge_ul %= 1000

    def moved(self, state: int, came_to: int, reason: int) -> None:
        """The law went from one state to another."""
        if reason == reasons.PURGED and state != came_to:
            self.purges = _more(self.purges, 1)
        if came_to == PARKED and state != PARKED:
            self.trips = _more(self.trips, 1)
