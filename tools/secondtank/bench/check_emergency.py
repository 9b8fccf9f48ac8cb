"""What measures that an emergency ends on diesel, and how each kind of check begins."""

from __future__ import annotations

import time

from changeover.inputs import ENGINE, KEY, READY
from changeover.settings import ADVISE
from changeover.ticks import ticks_diff
from host_sim.errors import InputError
from host_sim.link_client import Telemetry
from secondtank.bench.check_list import EMERGENCY, INPUT, OUTPUT, PLAUSIBLE, UNPLUGGED, WITHIN_S, Check
from secondtank.bench.check_runs import OUT_S, Outcome, Output, Run, Steady, Toggled, Unplugged
from secondtank.bench.mirror import Mirror
from secondtank.bench.session import Session
from secondtank.bench.stand import WARM

_CHANGE_S = 90.0  # for a warm engine to change over on the bench
_CABLE_S = 0.5  # until a feed is at the board, and a row back here


class Emergency(Run):
    """The bench changes over, then something happens: how soon has the supply valve no current?"""

    def __init__(self, session: Session, owner: str, way: str) -> None:
        """A job: takes the bench. Raises LinkRefused, and InputError for a board that moves nothing."""
        super().__init__()
        if session.view.values["authority"] == ADVISE:
            raise InputError("authority", ADVISE, "1 or 2 for this check: a board that only advises moves no valve")
        self._session = session
        self._way = way
        self._happened_s: float | None = None
        self._before_ms: int | None = None
        self._since_s = time.monotonic()
        session.begin(owner)
        stand = session.stand
        for index, value in WARM.items():
            stand.wanted[index] = value
        stand.levels[KEY] = stand.levels[ENGINE] = True
        self.progress = "warming a made-up engine"

    def take(self, row: Telemetry, mirror: Mirror) -> None:
        if self.outcome is not None:
            return
        now_s = time.monotonic()
        if self._happened_s is None:
            self._change_over(row, now_s)
        elif not row.out["supply"]:
            assert self._before_ms is not None
            # the cable's way there and back is in it: what the board itself took is less
            took_s = ticks_diff(row.tick_ms, self._before_ms) / 1000
            within_s = WITHIN_S[self._way] + _CABLE_S
            self.outcome = Outcome(
                took_s <= within_s, f"without current {took_s:.1f} s later, up to {_CABLE_S:g} s of that the cable's"
            )
        elif now_s - self._happened_s > OUT_S:
            self.outcome = Outcome(False, f"still on oil after {OUT_S:g} s")
        if self.outcome is not None:
            self._session.feeding = True

    def _change_over(self, row: Telemetry, now_s: float) -> None:
        stand = self._session.stand
        if now_s - self._since_s > 2.0:
            stand.levels[READY] = True
        self.progress = f"{row.state}: waiting for the change to oil"
        if row.state == "ON_OIL":
            self._happen(row, now_s)
        elif now_s - self._since_s > _CHANGE_S:
            why = "; ".join(reason.text for reason in self._session.view.reasons)
            self.outcome = Outcome(False, f"no change to oil: {why}")

    def _happen(self, row: Telemetry, now_s: float) -> None:
        self._happened_s, self._before_ms = now_s, row.tick_ms
        stand = self._session.stand
        self.progress = "now"
        if self._way == "silence":
            self._session.feeding = False
        elif self._way.endswith("-sensor"):
            self._session.break_(f"{self._way.removesuffix('-sensor')}-open")
        else:
            stand.levels[{"selector": READY, "key": KEY, "engine": ENGINE}[self._way]] = False


def begin(check: Check, session: Session, owner: str) -> Run | None:
    """A job: what measures this check, listening from now on; None where a person alone can say. Raises LinkRefused."""
    run: Run | None = None
    if check.kind == PLAUSIBLE:
        run = Steady(int(check.target))
    elif check.kind == UNPLUGGED:
        run = Unplugged(int(check.target))
    elif check.kind == INPUT:
        run = Toggled(int(check.target))
    elif check.kind == OUTPUT:
        fit = check.touches[0] if check.touches else None
        run = Output(session, check.target, fit is not None and session.view.values[fit] == 1)
    elif check.kind == EMERGENCY:
        run = Emergency(session, owner, check.target)
    if run is not None and check.kind != EMERGENCY and check.kind != OUTPUT:
        session.end("a check looks at the board's own inputs")
    session.watcher.listener = None if run is None else run.take
    return run
