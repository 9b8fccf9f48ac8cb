"""Two four-input converters (ADS1115) on one bus, read in step with each other; a silent one costs no more than its answer.

Registers: data sheet SBAS444 of the converter. Full scale 4.096 V, one conversion at a time, 860 a second. The eighth input
measures the reference that all sensors divide, so readings are ratios, as on the board's own converter.
"""

from changeover.sensing import NO_ANSWER

INPUTS = 8
REFERENCE = 7  # input that sees the 3.3 V; the order of the others is the law's from its fourth channel on
CONVERSION_US = 1400  # 1 / 860 s and 10 % tolerance of the converter's clock, 25 us to wake up, and some room

_FIRST_ADDRESS = 0x48  # address pin to ground; to supply: 0x49
_RESULT, _CONFIG = 0, 1
_START = 0xC3E3  # start, input 0 against ground, 4.096 V, single, 860 a second, comparator off
_IDLE_HIGH, _START_HIGH = 0x80, 0xC3
_LOW_BYTE = 0xE3
_REFERENCE_LOW, _REFERENCE_HIGH = 24000, 28800  # 3.0 to 3.6 V: what else is measured there is no reference


def counts(code: int, reference: int) -> int:
    """16-bit counts, even ones, of an input at `code` where the reference reads `reference`. Worst: 32767 * 32767 + 14 400."""
    if code < 0:
        return 0
    ratio = (code * 32767 + reference // 2) // reference * 2
    return ratio if ratio < 65535 else 65535


class Converters:
    """`start` and `finish` a turn of one input on each chip, four turns; then `take` gives the counts."""

    def __init__(self, bus: object) -> None:
        self._bus = bus
        self._codes = [0] * INPUTS
        self._silent = [False, False]
        self._config = bytearray(2)
        self._answer = bytearray(2)

    def start(self, turn: int) -> bool:
        """Let both chips convert their input `turn` (0 to 3); False when nobody is there to wait for."""
        if turn == 0:
            self._silent[0] = False
            self._silent[1] = False
        config = self._config
        config[0] = _START_HIGH + (turn << 4)
        config[1] = _LOW_BYTE
        chip = 0
        while chip < 2:
            if not self._silent[chip]:
                try:
                    self._bus.writeto_mem(_FIRST_ADDRESS + chip, _CONFIG, config)  # pyright: ignore[reportAttributeAccessIssue]
                except OSError:
                    self._silent[chip] = True  # not asked again in this tick
            chip += 1
        return not (self._silent[0] and self._silent[1])

    def finish(self, turn: int) -> None:
        """Fetch what both chips measured in this turn."""
        chip = 0
        while chip < 2:
            if not self._silent[chip]:
                self._fetch(chip, turn)
            chip += 1

    def _fetch(self, chip: int, turn: int) -> None:
        answer = self._answer
        try:
            self._bus.readfrom_mem_into(_FIRST_ADDRESS + chip, _CONFIG, answer)  # pyright: ignore[reportAttributeAccessIssue]
            # ready, and for the input that was asked for: else the result would be another input's
            if answer[0] != self._config[0] or answer[1] != _LOW_BYTE:
                self._silent[chip] = True
                return
            self._bus.readfrom_mem_into(_FIRST_ADDRESS + chip, _RESULT, answer)  # pyright: ignore[reportAttributeAccessIssue]
        except OSError:
            self._silent[chip] = True
            return
        code = answer[0] << 8 | answer[1]
        self._codes[4 * chip + turn] = code if code < 0x8000 else -1  # a little below ground is 0

    def take(self, into: list[int], first: int) -> None:
        """The seven inputs' counts, or NO_ANSWER, to `into` from its place `first` on."""
        reference = self._codes[REFERENCE]
        known = not self._silent[1] and _REFERENCE_LOW <= reference <= _REFERENCE_HIGH
        index = 0
        while index < REFERENCE:
            into[first + index] = (
                counts(self._codes[index], reference) if known and not self._silent[index // 4] else NO_ANSWER
            )
            index += 1
