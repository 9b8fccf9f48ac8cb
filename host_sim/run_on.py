"""What may hold the engine running with the key off, in copper: the board's relay, a timer relay, three switches."""

from __future__ import annotations

TIMER_S = 120.0  # the longest that an independent timer relay may be set to (the project's own rule)


class RunOnChain:
    """Five contacts in series that feed the stop solenoid beside the key. A mechanical engine stops when it is unfed.

    `brake_applied`, `in_neutral` and `bonnet_closed` are what is true; the switches `brake`, `neutral` and `bonnet` say
    so to chain and board alike, unless they are stuck closed. The timer relay stays closed for TIMER_S after the key.
    """

    def __init__(self) -> None:
        self.brake_applied = True
        self.in_neutral = True
        self.bonnet_closed = True
        self.relay_on = False  # commanded by the board
        # faults of the hardware
        self.relay_welded = False
        self.timer_stuck = False
        self.brake_stuck = False
        self.neutral_stuck = False
        self.bonnet_stuck = False
        self._key_off_s = 0.0

    @property
    def brake(self) -> bool:
        """Switch at the parking brake."""
        return self.brake_applied or self.brake_stuck

    @property
    def neutral(self) -> bool:
        """Switch at the gear lever."""
        return self.in_neutral or self.neutral_stuck

    @property
    def bonnet(self) -> bool:
        """Switch at the bonnet."""
        return self.bonnet_closed or self.bonnet_stuck

    @property
    def within_interlocks(self) -> bool:
        """May an engine be held running as things truly are?"""
        return self.brake_applied and self.in_neutral and self.bonnet_closed

    def feeds(self, key_on: bool, dt_s: float) -> bool:
        """Does the stop solenoid get its feed in this step of `dt_s`, through key or chain?"""
        if key_on:
            self._key_off_s = 0.0
            return True
        self._key_off_s += dt_s
        in_time = self.timer_stuck or self._key_off_s <= TIMER_S
        return in_time and (self.relay_on or self.relay_welded) and self.brake and self.neutral and self.bonnet
