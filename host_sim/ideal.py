"""The ideal controller: sees the truth, has no dwell and no hysteresis. What a real one is measured against."""

from __future__ import annotations

from typing import TYPE_CHECKING

from changeover.settings import LOOPED_RETURN, flow_low_ul_s, purge_ul

if TYPE_CHECKING:
    from host_sim.virtual_board import VirtualBoard

SPARE_K = 2.0
LOOP_WARMS_K = 20.0  # by hot oil, before much of what goes round a loop is oil (this car, -20 to 20 degC)
LONG_PRESS_S = 2.0  # of the button: "stopping soon", until the next one or the key


class Ideal:
    """Time on oil (supply valve on oil, engine running) that was possible in this drive, with the same fill and purge volumes.

    On oil at every instant when the engine has run 3 s, the driver is on READY and is not stopping, levels and supply are truly
    good, and the coldest oil between tank and pump is thinner than the H1 limit with SPARE_K to spare; after each exit the same
    purge volume at the same credited flow has to pass first.
    """

    def __init__(self, board: VirtualBoard, limit_c: float) -> None:
        """limit_c: where this car's oil truly reaches the H1 limit, degC."""
        self.board = board
        self.car = board.car
        values = board.values
        self._warm_c = limit_c + SPARE_K
        self._purge_s = purge_ul(values) / flow_low_ul_s(values)
        self._oil_low = values["oil_low_force_permille"] / 1000.0
        self._oil_full = values["oil_full_permille"] / 1000.0
        self._diesel_low = values["diesel_low_force_permille"] / 1000.0
        self._supply_v = values["supply_block_mv"] / 1000.0
        self._looped = values["layout"] == LOOPED_RETURN
        self.on_oil_s = 0.0
        self._owed_s = 0.0
        self._engine_s = 0.0
        self._on = False
        self._press_s = 0.0
        self._stopping = False
        self._was_key = False

    def step(self, dt_s: float) -> None:
        """One tick, after the car's."""
        car = self.car
        cockpit = self.board.signals.cockpit
        self._stop_wish(car.key_on, cockpit.button, dt_s)
        if not car.engine_running:
            self._engine_s = 0.0
            self._leave()
            return
        self._engine_s += dt_s
        if self._owed_s > 0.0:
            self._owed_s -= dt_s
            return
        if not (cockpit.ready and car.key_on) or self._stopping or self._engine_s < 3.0:
            self._leave()
            return
        warm = min(car.tank_outlet_c, car.hose_c, car.filter_c) >= self._warm_c
        if self._looped:  # and what goes round at the pump with it
            warm = warm and car.pump_inlet_c >= self._warm_c - LOOP_WARMS_K
        good = self._oil_low < car.oil_level < self._oil_full and car.diesel_level > self._diesel_low
        if warm and good and car.supply_v >= self._supply_v:
            self._on = True
            self.on_oil_s += dt_s
        else:
            self._leave()

    def _stop_wish(self, key_on: bool, pressed: bool, dt_s: float) -> None:
        if key_on and not self._was_key:
            self._stopping = False
        self._was_key = key_on
        before_s = self._press_s
        self._press_s = before_s + dt_s if pressed else 0.0
        if before_s < LONG_PRESS_S <= self._press_s:
            self._stopping = not self._stopping

    def _leave(self) -> None:
        if self._on:
            self._on = False
            self._owed_s = self._purge_s
