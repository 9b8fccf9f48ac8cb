"""Raw counts to a value or a reason, with an age; never a plausible number in place of a broken sensor."""

from changeover.settings import NTC_FIRST_C, NTC_NAMES, NTC_STEP_C

GOOD, NOT_FITTED, SETTLING, OPEN, SHORT, OUT_OF_RANGE, JUMPED, STALE = range(8)
FROZEN, SWAPPED, GROUND_LIFTED, IRRATIONAL = range(8, 12)

COOLANT, OIL, SUCTION, OIL_TANK, PUMP_INLET, OIL_LEVEL, DIESEL_LEVEL, SUPPLY, AMBIENT, BARO = range(10)
NO_ANSWER = -1  # in place of counts, when the part on the bus did not answer

_UP, _TRIP, _FULL = 4, 12, 40  # a bad sample counts 4 up, a good one 1 down: 3 bad end trust, 4 s good bring it back
JUMP_CDEGC = 500  # equals the undetectable offset: a smaller step is covered by the margin
_AGE_FULL = 500  # samples; also the most that an absent sensor's jump limit grows by, in cdegc
_ICE_CDEGC, _HOT_CDEGC = -4000, 13000


class Channel:
    """One analog input. `value` means something only while `reason` is GOOD; `age`: samples since the last good one.

    A reading that jumped and stays where it jumped to was wrong before or is wrong now: it is distrusted until it comes
    back, or until `restart`.
    """

    def __init__(self, fitted: bool, low: int, high: int, short_counts: int, open_counts: int, jump: int) -> None:
        self.value = 0
        self.reason = SETTLING if fitted else NOT_FITTED
        self.age = 0
        self.bad = 0
        self._settle = 5
        self._low = low
        self._high = high
        self._short = short_counts
        self._open = open_counts
        self._jump = jump
        self._reach = jump

    def convert(self, counts: int) -> int:
        """Counts (0 .. 65535) to the channel's unit."""
        return counts

    def restart(self) -> None:
        """A new trip: forget verdicts and the last value, keep what is fitted."""
        if self.reason != NOT_FITTED:
            self.reason = SETTLING
            self._settle = 5
            self.bad = 0
            self.age = 0
            self._reach = self._jump

    def distrust(self, reason: int) -> None:
        """Verdict of a rule that looks at several channels; stands until `restart`."""
        if self.reason != NOT_FITTED:
            self.reason = reason

    def step(self, counts: int) -> None:
        """Take one sample: counts 0 .. 65535, or NO_ANSWER."""
        if self.reason >= FROZEN or self.reason == NOT_FITTED:
            return
        fault = GOOD
        value = 0
        if counts < 0:
            fault = STALE
        elif counts >= self._open:
            fault = OPEN
        elif counts <= self._short:
            fault = SHORT
        else:
            value = self.convert(counts)
            if value < self._low or value > self._high:
                fault = OUT_OF_RANGE
            elif self._settle:
                self._settle -= 1
                self.value = value
                if self._settle == 0 and self.reason == SETTLING:
                    self.reason = GOOD
                return
            elif self._jump and (value - self.value > self._reach or self.value - value > self._reach):
                fault = JUMPED
        if fault == GOOD:
            self.value = value
            self.age = 0
            if self.bad:
                self.bad -= 1
                if self.bad == 0:
                    self.reason = GOOD
                    self._reach = self._jump
            return
        if self.age < _AGE_FULL:
            self.age += 1
        if fault != JUMPED and self._reach < self._jump + _AGE_FULL:
            self._reach += 1  # a true temperature may have moved while nothing could be read
        self.bad = self.bad + _UP if self.bad + _UP < _FULL else _FULL
        if self.bad >= _TRIP:
            self.reason = fault


class Thermistor(Channel):
    """NTC to ground under a pull-up; 0.01 degC by a table of counts every 5 K, linear between."""

    def __init__(self, fitted: bool, values: dict[str, int], trim_cdegc: int, jump_cdegc: int = JUMP_CDEGC) -> None:
        super().__init__(fitted, _ICE_CDEGC, _HOT_CDEGC, 700, 65000, jump_cdegc)
        self._table = [values[name] for name in NTC_NAMES]
        self._last = len(NTC_NAMES) - 2
        self._at = self._last // 2
        self._trim = trim_cdegc

    def convert(self, counts: int) -> int:
        """Temperature in 0.01 degC; beyond the table's ends its end segment goes on."""
        table = self._table
        at = self._at
        while at > 0 and counts > table[at]:
            at -= 1
        while at < self._last and counts <= table[at + 1]:
            at += 1
        self._at = at
        warm = table[at]
        # worst case 100 * 5 * 65535 = 32 767 500
        above = 100 * NTC_STEP_C * (warm - counts) // (warm - table[at + 1])
        return 100 * (NTC_FIRST_C + NTC_STEP_C * at) + above + self._trim


class Linear(Channel):
    """Straight line: (counts - zero) * gain // per. Worst: (65535 + 20000) * 12000 = 1 026 420 000, a small integer."""

    def __init__(self, fitted: bool, zero: int, gain: int, per: int, low: int, high: int, short_counts: int) -> None:
        super().__init__(fitted, low, high, short_counts, 65000, 0)
        self._zero = zero
        self._gain = gain
        self._per = per

    def convert(self, counts: int) -> int:
        """Value in the channel's unit: Pa, permille or mV."""
        return (counts - self._zero) * self._gain // self._per


class Contact:
    """A debounced digital input; `on` after `rise` samples in a row-weighted count, off after `fall`."""

    def __init__(self, rise: int, fall: int) -> None:
        self.on = False
        self._rise = rise
        self._fall = fall
        self._count = 0

    def step(self, level: bool) -> None:
        """Take one sample of the pin, already in its logical sense."""
        if level == self.on:
            if self._count:
                self._count -= 1
            return
        self._count += 1
        if self._count >= (self._fall if self.on else self._rise):
            self.on = level
            self._count = 0
