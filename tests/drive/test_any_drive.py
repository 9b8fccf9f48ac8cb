"""Whatever a driver does in whatever weather: what must hold at every tick of the whole loop."""

from __future__ import annotations

from typing import Any

from hypothesis import event, example, given, settings
from hypothesis import strategies as st

from changeover import rows
from changeover.memory import choose
from changeover.states import FILLING, ON_DIESEL, ON_OIL, PARKED, PURGING, RUN_ON, STATES
from host_sim.drive import Drive
from tests.drive.rig import DIESEL, LONG, PROFILES, READY, SHORT, drive_of, idle, road, stop, story

_MOVES = {
    (PARKED, ON_DIESEL), (PARKED, PURGING), (ON_DIESEL, FILLING), (ON_DIESEL, ON_OIL), (ON_DIESEL, PURGING),
    (FILLING, ON_OIL), (FILLING, PURGING), (FILLING, ON_DIESEL), (ON_OIL, PURGING), (ON_OIL, ON_DIESEL),
    (PURGING, ON_DIESEL),
    *((state, PARKED) for state in (ON_DIESEL, FILLING, ON_OIL, PURGING, RUN_ON)),
}  # fmt: skip
LEGAL = {(STATES[before], STATES[after]) for before, after in _MOVES}

_steps = st.one_of(
    st.builds(
        road, st.sampled_from([0.5, 2.0, 5.0]), st.sampled_from([30.0, 90.0]), st.sampled_from(["road", "town", "hill"])
    ),
    st.builds(idle, st.sampled_from([0.2, 2.0])),
    st.builds(stop, st.sampled_from([0.02, 0.2, 0.6, 45.0]), st.sampled_from(["none", "idle", "driving"])),
    st.sampled_from([READY, DIESEL, LONG, SHORT]),
)
_trips = st.lists(_steps, min_size=2, max_size=7)


SENSORS = (rows.COOLANT_SENSOR, rows.OIL_SENSOR, rows.SUCTION_SENSOR, rows.OTHER_SENSOR)


class Watch:
    """Looks at every tick; breaks the test at the first that is not as it must be."""

    def __init__(self, drive: Drive) -> None:
        self.drive = drive
        self.standing_s = 0.0
        self.oil_ticks = 0
        self._slots: list[bytes] = []
        self._remembered = False

    @property
    def remembered(self) -> bool:
        """What flash says of oil in the lines; read again only when it was written."""
        slots = self.drive.board.slots
        if slots != self._slots:
            self._slots = list(slots)
            self._remembered = choose(slots).oil_in_lines
        return self._remembered

    def __call__(self, t_s: float) -> None:
        drive = self.drive
        car, board = drive.car, drive.board
        at = f"at {t_s} s"
        self.standing_s = 0.0 if car.engine_running else self.standing_s + 0.1
        if car.command_supply_oil:
            self.oil_ticks += 1
            assert board.powered, at
            assert board.law.machine.state in (FILLING, ON_OIL), at
            assert self.remembered, f"oil let in and not remembered {at}"
            assert car.key_on, at
            assert drive.cockpit.ready, f"oil against the selector {at}"
            assert self.standing_s <= 1.0, f"oil commanded with the engine stopped {at}"
        if car.command_return_oil:
            assert drive.scenario.layout == "tank_return", at
            assert self.standing_s <= 1.0, f"return valve on with the engine stopped {at}"
        assert board.law.panel.message not in SENSORS, f"a sensor blamed that nothing ails {at}"
        if car.path.plug_inside_oil > 0.2:
            assert self.remembered, f"oil in the lines and not remembered {at}"


@settings(max_examples=20, deadline=None)
@given(
    profile=st.sampled_from(list(PROFILES)),
    ambient_c=st.sampled_from([-20.0, 0.0, 20.0, 35.0]),
    trip=_trips,
    warm=st.sampled_from([True, True, False]),
    seed=st.integers(0, 1000),
)
@example(
    profile="full_guard",
    ambient_c=-20.0,
    trip=[READY, road(3.0), stop(0.02), road(3.0), stop(45.0), idle(2.0)],
    warm=True,
    seed=0,
)
@example(
    profile="looped", ambient_c=-20.0, trip=[READY, road(8.0), LONG, idle(2.0), LONG, road(3.0)], warm=True, seed=0
)
@example(
    profile="three_sensors",
    ambient_c=35.0,
    trip=[idle(0.2), READY, road(3.0), DIESEL, READY, road(8.0)],
    warm=True,
    seed=0,
)
def test_any_drive_keeps_the_rules(
    profile: str, ambient_c: float, trip: list[dict[str, Any]], warm: bool, seed: int
) -> None:
    drive = drive_of(story(*trip, ambient_c=ambient_c, profile=profile), warm=warm, seed=seed)
    watch = Watch(drive)
    drive.on_tick = watch
    drive.run()
    event("on oil" if watch.oil_ticks else "never on oil")
    assert drive.finished
    assert drive.car.volume_balance_error < 1e-9
    assert drive.car.energy_balance_error < 1e-6
    for move in drive.totals.moves:
        assert move.refused or (move.before, move.after) in LEGAL
    for before, after in zip(drive.totals.moves, drive.totals.moves[1:], strict=False):
        assert after.before == before.after, "a move from a state that nobody had gone to"
    assert (drive.car.oil_burnt > 0.0) <= (watch.oil_ticks > 0), "oil burnt that nobody let in"


def test_the_examples_do_reach_oil() -> None:
    for profile, trip in (
        ("full_guard", [READY, road(3.0)]),
        ("looped", [READY, road(3.0)]),
        ("three_sensors", [idle(0.2), READY, road(3.0)]),
    ):
        drive = drive_of(story(*trip, ambient_c=-20.0, profile=profile), warm=True)
        watch = Watch(drive)
        drive.on_tick = watch
        drive.run()
        assert watch.oil_ticks > 600, profile
