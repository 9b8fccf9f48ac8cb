"""Whatever happens in whatever order, `Rig.check` holds on every tick; and time passes in awkward portions."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from changeover.inputs import BONNET, BRAKE, NEUTRAL
from changeover.sensing import COOLANT, OIL, OIL_LEVEL, PUMP_INLET, SUCTION, SUPPLY
from changeover.settings import ADVISE, AUTOMATIC, LOOPED_RETURN, PERMIT, TANK_RETURN
from tests.law.rig import HOT_ENGINE, OPEN_COUNTS, Rig

WRAP = 2**30


class AnyOrder(RuleBasedStateMachine):
    """A warm car on which anything may happen."""

    rig: Rig

    @initialize(
        authority=st.sampled_from([AUTOMATIC, AUTOMATIC, PERMIT, ADVISE]),
        layout=st.sampled_from([TANK_RETURN, LOOPED_RETURN]),
        run_on_s=st.sampled_from([0, 6, 60]),
        oil_in_lines=st.booleans(),
        before_wrap_ms=st.sampled_from([0, 5000, 9000, 20_000]),
    )
    def start(self, authority: int, layout: int, run_on_s: int, oil_in_lines: bool, before_wrap_ms: int) -> None:
        self.rig = Rig(
            authority=authority, layout=layout, run_on_s=0 if layout == LOOPED_RETURN else run_on_s, fit_heater=1,
            oil_in_lines=oil_in_lines, now_ms=(WRAP - before_wrap_ms) % WRAP, dwell_diesel_s=10, path_ul=30_000,
        )  # fmt: skip
        self.rig.reads(**HOT_ENGINE)
        self.rig.levels[BRAKE] = self.rig.levels[NEUTRAL] = self.rig.levels[BONNET] = True
        self.rig.ready()
        self.rig.start()

    @rule(seconds=st.sampled_from([0.1, 0.2, 0.4, 0.5, 1.9, 2.0, 2.1, 3.0, 6.0, 15.0, 40.0]))
    def time_passes(self, seconds: float) -> None:
        self.rig.run(seconds)

    @rule(dt_ms=st.sampled_from([0, 1, 249, 250, 251, 999, 1000, 1001, 2000, 3_600_000, 2**29 - 1, 2**29 - 2]))
    def tick_is_odd(self, dt_ms: int) -> None:
        self.rig.tick(dt_ms)

    @rule(on=st.booleans())
    def key_turns(self, on: bool) -> None:
        self.rig.key(on)

    @rule(on=st.booleans())
    def engine_changes(self, on: bool) -> None:
        self.rig.engine(on)

    @rule(on=st.booleans())
    def selector_moves(self, on: bool) -> None:
        self.rig.ready(on)

    @rule(seconds=st.sampled_from([0.3, 2.4]))
    def button_is_pressed(self, seconds: float) -> None:
        self.rig.press(seconds)

    @rule(channel=st.sampled_from([COOLANT, OIL, SUCTION, OIL_LEVEL, PUMP_INLET, SUPPLY]))
    def sensor_fails(self, channel: int) -> None:
        self.rig.counts[channel] = OPEN_COUNTS

    @rule(
        change=st.sampled_from(
            [{"coolant_c": 59.0}, {"oil_c": 68.0}, {"supply_v": 9.0}, {"supply_v": 11.4}, {"suction_kpa": 36.0},
             {"suction_kpa": 26.0}, {"oil_level": 0.96}, {"oil_level": 0.03}, {"oil_c": 101.0}, {"pump_inlet_c": 70.0}]
        )
    )  # fmt: skip
    def reading_changes(self, change: dict[str, float]) -> None:
        self.rig.reads(**change)

    @rule()
    def all_is_well_again(self) -> None:
        self.rig.reads(**HOT_ENGINE)
        self.rig.reads(oil_level=0.6)
        self.rig.contacts_follow = True
        self.rig.refuses_writes = False

    @rule(contact=st.sampled_from([BRAKE, NEUTRAL, BONNET]))
    def switch_opens(self, contact: int) -> None:
        self.rig.levels[contact] = not self.rig.levels[contact]

    @rule()
    def valves_stick(self) -> None:
        self.rig.contacts_follow = False

    @rule()
    def flash_refuses(self) -> None:
        self.rig.refuses_writes = True

    @rule(restarted=st.booleans())
    def board_boots(self, restarted: bool) -> None:
        self.rig.boot(restarted)


AnyOrder.TestCase.settings = settings(deadline=None, max_examples=100, stateful_step_count=30)
test_any_order = AnyOrder.TestCase
