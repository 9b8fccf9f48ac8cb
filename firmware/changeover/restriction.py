"""How dirty is the filter, and does it draw air? Suction normalised to 70 degC, once a second while oil flows."""

from changeover.settings import NORM_FIRST_C, NORM_NAMES, NORM_STEP_C

_OBSERVABLE_PA = 4000  # below this reference a halved suction drowns in the sensor's own error
_STEADY_S = 20  # of oil flowing before a reading means anything
_TRIP_S = 60  # of readings before they speak for a trip
_MOST_S = 16384  # after so many the older ones count half
_UNKNOWN = 0


class Restriction:
    """Normalised suction, 0: not known. `mean_pa`: mean of this trip, once it has 60 s of readings, else of the last that had;
    `low_pa`: what it is at least, learnt from the least of each trip. `spent`: since key-on it has ended oil."""

    def __init__(self, values: dict[str, int]) -> None:
        self._norm = [values[name] for name in NORM_NAMES]
        self._idle_permille = values["flow_measured_ul_s"] * 1000 // values["flow_max_ul_s"]
        self.mean_pa = _UNKNOWN
        self.low_pa = _UNKNOWN
        self.spent = False
        self.air = False
        self.observable = False
        self._drawing_s = 0
        self._smooth_pa = 0
        self._trip_low_pa = _UNKNOWN
        self._sum_16pa = 0
        self._read_s = 0

    def changed(self) -> None:
        """A new element: what the old one taught is void."""
        self.mean_pa = _UNKNOWN
        self.low_pa = _UNKNOWN
        self.spent = False
        self._begin()

    def keep_trip(self, air_found: bool) -> None:
        """Key-off: learn from this trip's least. It may have flowed at its highest all the time, and idle tomorrow."""
        least_pa = self._trip_low_pa
        if least_pa == _UNKNOWN:
            pass
        elif air_found:  # true, or the reference is too high: it shall not be told for ever
            self.low_pa -= self.low_pa // 4
        elif self.low_pa == _UNKNOWN:
            self.low_pa = max(least_pa * self._idle_permille // 1000, 1)  # worst case 1 035 000 * 999
        else:
            self.low_pa = min(least_pa, self.low_pa + self.low_pa // 16 + 1)
        self.air = False
        self._drawing_s = 0
        self._begin()

    def _begin(self) -> None:
        self._trip_low_pa = _UNKNOWN
        self._sum_16pa = 0
        self._read_s = 0

    def factor_permille(self, oil_cdegc: int) -> int:
        """Correction at this oil temperature, linear between the settings' rows and held at their ends."""
        norm = self._norm
        above = oil_cdegc - 100 * NORM_FIRST_C
        if above <= 0:
            return norm[0]
        row = above // (100 * NORM_STEP_C)
        if row >= len(norm) - 1:
            return norm[len(norm) - 1]
        part = above - row * 100 * NORM_STEP_C
        return norm[row] + (norm[row + 1] - norm[row]) * part // (100 * NORM_STEP_C)

    def second(self, drawing: bool, suction_pa: int, oil_cdegc: int) -> None:
        """One second; `drawing`: oil flows through the filter and both readings are trusted."""
        self.air = False
        if not drawing:
            self._drawing_s = 0
            return
        factor = self.factor_permille(oil_cdegc)
        norm_pa = suction_pa * factor // 1000  # worst case 115 000 * 9000 = 1 035 000 000, a small integer
        if self._drawing_s < _STEADY_S:
            self._drawing_s += 1
            self._smooth_pa = norm_pa
            return
        self._smooth_pa += (norm_pa - self._smooth_pa) // 16
        self._average(norm_pa)
        if self._trip_low_pa == _UNKNOWN or self._smooth_pa < self._trip_low_pa:
            self._trip_low_pa = max(self._smooth_pa, 1)
        expected_pa = self.low_pa * 1000 // factor  # worst case 1 035 000 * 1000, factor 20 or more
        self.observable = expected_pa >= _OBSERVABLE_PA
        self.air = self.observable and suction_pa < expected_pa // 2

    def _average(self, norm_pa: int) -> None:
        self._sum_16pa += norm_pa // 16  # worst case 64 687 * 16 384 = 1 059 831 808, a small integer
        self._read_s += 1
        if self._read_s == _MOST_S:
            self._sum_16pa //= 2
            self._read_s //= 2
        if self._read_s >= _TRIP_S:
            self.mean_pa = self._sum_16pa // self._read_s * 16
