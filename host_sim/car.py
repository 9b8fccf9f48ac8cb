"""The simulated car: what is true. Inputs are set from outside, `advance` moves everything by one step."""

from __future__ import annotations

import copy
import math
from functools import lru_cache
from typing import Any, Literal

from host_sim.car_spec import CarSpec
from host_sim.errors import InputError
from host_sim.filter_model import Filter, oil_viscosity_pa_s
from host_sim.fluids import D341, FuelTable, diesel_density_kg_m3, oil_density_kg_m3
from host_sim.fuel_path import FuelPath
from host_sim.run_on import RunOnChain
from host_sim.supply import PowerSupply
from host_sim.thermal import (
    BULK,
    COIL,
    COOLANT,
    DIESEL,
    ENGINE,
    FEED,
    FILTER,
    HEATER,
    INLET,
    PUMP,
    RADIATOR,
    StandingOil,
    ThermalNetwork,
    bore_ul,
)
from host_sim.valves import ChangeoverValve

Layout = Literal["tank_return", "looped_return"]

TICK_S = 0.1
_PARKED_STEP_S = 15.0
_AIR_SHARE = 0.02  # air in the flow that the pump no longer swallows unnoticed (judgement)
_DROP_UL = 1.0
_SEIZED_C = 160.0  # engine metal at which it no longer turns (judgement): without coolant it would heat for ever
_COLDEST_C, _HOTTEST_C = -60, 200
_MIXTURES = 32  # steps of the oil fraction between which viscosity is taken as linear


def _per_pa_s(bore_mm: float, length_m: float) -> float:
    """Pa per Pa s and uL/s of a hose: Hagen-Poiseuille, 128 L / (pi d^4)."""
    return 128.0 * length_m / (math.pi * (bore_mm * 1e-3) ** 4) * 1e-9


@lru_cache(maxsize=8)
def _mixtures_pa_s(oil: D341, diesel: D341) -> tuple[tuple[float, ...], ...]:
    """Dynamic viscosity of mixtures from diesel to oil, by volume, each for every degree."""
    table = FuelTable(oil, diesel)
    temperatures = [float(t_c) for t_c in range(_COLDEST_C, _HOTTEST_C + 1)]
    kg_m3 = [(diesel_density_kg_m3(t_c), oil_density_kg_m3(t_c)) for t_c in temperatures]
    return tuple(
        tuple(
            table.nu(t_c, share) * 1e-6 * (of_diesel + share * (of_oil - of_diesel))
            for t_c, (of_diesel, of_oil) in zip(temperatures, kg_m3, strict=True)
        )
        for share in (i / _MIXTURES for i in range(_MIXTURES + 1))
    )


def _at(table: tuple[float, ...], t_c: float) -> float:
    x = t_c - _COLDEST_C
    i = int(x)
    return table[i] + (x - i) * (table[i + 1] - table[i])


class Car:
    """One car with two tanks in one layout, all of it at ambient temperature to begin with.

    Set the inputs, call `advance`, read the truth. Temperatures in degC, pressures in Pa, flows in uL/s, levels and
    positions 0..1, totals in mL. Volumes are counted as if fuel did not expand.
    """

    def __init__(
        self,
        spec: CarSpec,
        layout: Layout,
        ambient_c: float,
        oil_level: float = 0.7,
        diesel_level: float = 0.7,
        filter_litres: float = 0.0,
    ) -> None:
        """Levels as fraction of capacity; filter_litres: oil that the element has seen. Raises InputError."""
        if layout not in ("tank_return", "looped_return"):
            raise InputError("layout", layout, "tank_return or looped_return")
        for place, value, low, high in (
            ("oil level", oil_level, 0.0, 1.0),
            ("diesel level", diesel_level, 0.0, 1.0),
            ("ambient temperature in degC", ambient_c, -50.0, 60.0),
            ("litres through the filter", filter_litres, 0.0, 1e5),
        ):
            if not low <= value <= high:
                raise InputError(place, value, f"{low:g} to {high:g}")
        self.spec = spec
        self.layout: Layout = layout
        self._looped = layout == "looped_return"
        self._set_constants(spec)

        # inputs
        self.key_on = False
        self.cranking = False
        self.engine_rpm = 0.0
        self.engine_load = 0.0
        self.speed_kmh = 0.0
        self.cabin_heater = 0.0
        self.ambient_c = ambient_c
        self.command_supply_oil = False
        self.command_return_oil = False
        self.command_heater = False

        # faults of the hardware, harmless unless set
        self.supply_stuck: float | None = None
        self.return_stuck: float | None = None
        self.supply_leak = 0.0
        self.return_leak = 0.0
        self.supply_slow = 1.0
        self.return_slow = 1.0
        self.filter_extra_resistance = 1.0
        self.air_leak = 0.0
        self.heater_dead = False
        self.heater_welded = False
        self.engine_relay_welded = False
        self.thermostat_stuck_open = False
        self.coolant_lost = 0.0
        self.water_slug = 1.0
        self.wax_plug = 1.0

        # state
        self.oil_ul = oil_level * self._oil_capacity_ul
        self.diesel_ul = diesel_level * self._diesel_capacity_ul
        self.oil_tank_diesel_ul = 0.0
        self.diesel_tank_oil_ul = 0.0
        self.filter_litres = filter_litres
        self.net = ThermalNetwork(spec, ambient_c, self.oil_ul, self.diesel_ul)
        count = 1 if self._looped else self._stirred_volumes
        self.path = FuelPath(self._path_ul, self._feed_line_ul, count, 0.0, ambient_c)
        self._rest_s = 0.0
        self._rest_keep = 1.0  # of its lead over the wall, by fuel that rests in the feed line for _rest_s
        self.supply_valve = ChangeoverValve(spec.valves)
        self.return_valve = ChangeoverValve(spec.valves)
        self.supply = PowerSupply(spec.supply)
        self.run_on = RunOnChain()
        self.time_s = 0.0
        self._air_ul = 0.0
        self._air_s = 0.0
        self._starved = False
        self._cut_out = False

        # truth that each step leaves behind
        self.engine_running = False
        self.heater_on = False
        self.feed_ul_s = 0.0
        self.burn_ul_s = 0.0
        self.return_ul_s = 0.0
        self.suction_pa = self._head_pa
        self.pump_suction_pa = 0.0
        self.air_at_pump = False
        self._oil_burnt_ul = 0.0
        self._diesel_burnt_ul = 0.0
        self._oil_into_diesel_ul = 0.0
        self._oil_into_diesel_stirred_ul = 0.0
        self._oil_into_diesel_laminar_ul = 0.0
        self._diesel_into_oil_ul = 0.0
        self._volume_at_start_ul = self.oil_ul + self.diesel_ul
        self._oil_at_start_ul = self.oil_ul
        self._moved_ul = 0.0

    def _set_constants(self, spec: CarSpec) -> None:
        engine, tanks, line, injection, fuels = spec.engine, spec.tanks, spec.oil_line, spec.injection, spec.fuels
        self._oil_capacity_ul = tanks.oil_capacity_l.value * 1e6
        self._diesel_capacity_ul = tanks.diesel_capacity_l.value * 1e6
        self._pickup_oil_ul = tanks.pickup_level.value * self._oil_capacity_ul
        self._pickup_diesel_ul = tanks.pickup_level.value * self._diesel_capacity_ul
        self._feed_line_ul = bore_ul(injection.feed_bore_mm.value, injection.feed_length_m.value)
        self._gallery_ul = injection.gallery_l.value * 1e6
        return_ul = bore_ul(injection.return_bore_mm.value, injection.return_length_m.value)
        self._path_ul = self._feed_line_ul + self._gallery_ul + return_ul
        self._stirred_volumes = int(injection.stirred_volumes.value)
        self._idle_rpm = engine.idle_rpm.value
        self._running_rpm = 0.5 * self._idle_rpm
        self._overrun_rpm = 1.4 * self._idle_rpm
        efficiency = engine.indicated_efficiency.value
        self._friction_w_rpm = engine.friction_bar.value * 1e5 * engine.displacement_l.value * 1e-3 / 120.0 / efficiency
        self._load_w_rpm = engine.torque_max_nm.value * math.pi / 30.0 / efficiency
        self._seized_j = _SEIZED_C * engine.block_j_k.value
        self._ul_j = 1.0 / engine.fuel_heat_j_ul.value
        self._coolant_j_ul = engine.fuel_heat_j_ul.value * engine.heat_to_coolant.value
        self._motored_w_rpm = self._friction_w_rpm * efficiency * engine.friction_to_coolant.value
        self._feed_idle_ul_s = injection.feed_idle_ul_s.value
        self._feed_rpm_ul_s = injection.feed_per_rpm_ul_s.value
        self._feed_max_ul_s = injection.feed_max_ul_s.value
        self._lift_limit_pa = injection.lift_limit_pa.value
        self._air_stall_s = injection.air_stall_s.value
        oil = D341.from_points(
            fuels.oil_cool_c.value, fuels.oil_cool_nu.value, fuels.oil_warm_c.value, fuels.oil_warm_nu.value
        )
        diesel = D341.from_points(
            fuels.diesel_cool_c.value, fuels.diesel_cool_nu.value, fuels.diesel_warm_c.value, fuels.diesel_warm_nu.value
        )
        self.oil_d341 = oil
        self.fuel_table = FuelTable(oil, diesel)
        self._mixtures_pa_s = _mixtures_pa_s(oil, diesel)
        self._diesel_pa_s, self._oil_pa_s = self._mixtures_pa_s[0], self._mixtures_pa_s[-1]
        self._head_pa = line.static_head_pa.value
        rated = line.filter_rated_flow_ul_s.value
        self._filter = Filter.from_readings(
            line.filter_clean_pa.value,
            line.filter_loaded_pa.value,
            rated,
            oil_viscosity_pa_s(oil, line.filter_rated_c.value),
            line.filter_life_l.value,
            self._head_pa,
        )
        self._hose_per_pa_s = _per_pa_s(line.hose_bore_mm.value, line.hose_length_m.value)
        self._valve_hose_per_pa_s = _per_pa_s(line.valve_hose_bore_mm.value, line.valve_hose_length_m.value)
        self._feed_line_per_pa_s = _per_pa_s(injection.feed_bore_mm.value, injection.feed_length_m.value)
        self._diesel_per_pa_s = injection.diesel_suction_pa.value / rated / self._diesel_pa_s[40 - _COLDEST_C]
        self._heater_w_v2 = line.heater_w.value / line.heater_rated_v.value**2
        self._cut_out_c = line.heater_cut_out_c.value
        self._cut_in_c = line.heater_cut_in_c.value
        self._coil_w = spec.valves.coil_w.value

    def __deepcopy__(self, memo: dict[int, Any]) -> Car:
        """A fork: shares the tables that never change, owns everything that moves."""
        new = copy.copy(self)
        memo[id(self)] = new
        new.net = self.net.copy()
        new.path = self.path.copy()
        new.supply_valve = copy.copy(self.supply_valve)
        new.return_valve = copy.copy(self.return_valve)
        new.supply = copy.copy(self.supply)
        new.run_on = copy.copy(self.run_on)
        return new

    def advance(self, dt_s: float) -> None:
        """Move by dt_s seconds (more than 0). Longer steps are cut: to 0.1 s with key or engine on, else to 15 s."""
        heating = self.engine_relay_welded and (self.command_heater or self.heater_welded)
        awake = self.key_on or self.engine_rpm > 0.0 or heating
        longest = TICK_S if awake else _PARKED_STEP_S
        if dt_s > longest * 1.000001:
            count = math.ceil(dt_s / longest - 1e-9)
            dt_s /= count
            for _ in range(count):
                self._step(dt_s)
        else:
            self._step(dt_s)

    def _step(self, dt: float) -> None:
        key_on = self.key_on
        if not self.run_on.feeds(key_on, dt):
            self.engine_rpm = 0.0  # and only a starter turns it again
        rpm = self.engine_rpm
        cranking = self.cranking
        net = self.net
        running = rpm >= self._running_rpm and not cranking and not self._starved and net.heat[ENGINE] < self._seized_j
        self.engine_running = running

        # power, heater, valves
        supply = self.supply
        heater_on = (
            (self.command_heater or self.heater_welded)
            and (running or self.engine_relay_welded)
            and not self.heater_dead
        )
        if heater_on or self._cut_out:
            metal_c = net.temperature_c(HEATER)
            self._cut_out = metal_c > (self._cut_in_c if self._cut_out else self._cut_out_c)
            heater_on = heater_on and not self._cut_out
        self.heater_on = heater_on
        heater_w = self._heater_w_v2 * supply.voltage_v * supply.voltage_v if heater_on else 0.0
        valve, back_valve = self.supply_valve, self.return_valve
        to_oil = self.command_supply_oil and key_on
        load_w = heater_w
        if to_oil:
            load_w += self._coil_w
        if self.command_return_oil:
            load_w += self._coil_w
        supply.advance(dt, key_on, cranking, running, load_w)
        volts, lowest = supply.voltage_v, supply.lowest_v
        valve.advance(dt, to_oil, volts, lowest, self.supply_stuck, self.supply_slow)
        if not self._looped:
            back_valve.advance(dt, self.command_return_oil, volts, lowest, self.return_stuck, self.return_slow)

        if rpm > 0.0:
            self._turning(dt, rpm, running, heater_w)
        else:
            self._rest(dt)
            self.feed_ul_s = self.burn_ul_s = self.return_ul_s = 0.0
            self.suction_pa = self._head_pa
            self.pump_suction_pa = 0.0
            net.step(
                dt, 0.0, self.speed_kmh, self.cabin_heater if key_on else 0.0, self.ambient_c, self.coolant_lost,
                self.thermostat_stuck_open, 0.0, heater_w * dt, 0.0, 0.0, 0.0, 0.0, 0.0,
            )  # fmt: skip
        self.time_s += dt

    def _rest(self, dt: float) -> None:
        """Fuel that stands in the feed line comes to the temperature of its wall."""
        net = self.net
        if dt != self._rest_s:
            self._rest_s = dt
            self._rest_keep = net.line_keeps(dt)[2]
        self.path.rest(net.temperature_c(INLET), self._rest_keep)

    def _turning(self, dt: float, rpm: float, running: bool, heater_w: float) -> None:
        net = self.net
        share = self.supply_valve.oil_share(self.supply_leak)
        feed = rpm * self._feed_idle_ul_s / self._idle_rpm if rpm < self._idle_rpm else (
            self._feed_idle_ul_s + (rpm - self._idle_rpm) * self._feed_rpm_ul_s
        )  # fmt: skip
        if feed > self._feed_max_ul_s:
            feed = self._feed_max_ul_s
        burn = 0.0
        if running:
            load = self.engine_load
            if load > 0.0 or rpm < self._overrun_rpm:
                burn = rpm * (self._friction_w_rpm + self._load_w_rpm * load) * self._ul_j
        feed = self._suctions(feed, burn, share)
        if burn > feed:
            burn = feed
        drawn = (burn if self._looped else feed) * dt
        burn *= dt
        oil = drawn * share
        diesel = drawn - oil
        if oil > self.oil_ul or diesel > self.diesel_ul:
            oil = min(oil, self.oil_ul) if self.oil_ul > _DROP_UL else 0.0
            diesel = min(diesel, self.diesel_ul) if self.diesel_ul > _DROP_UL else 0.0
            drawn = oil + diesel
            if drawn < 1e-3 * _DROP_UL:
                drawn = oil = diesel = 0.0
            burn = min(burn, drawn)
            feed = min(feed, drawn / dt)
        if (
            self._air_ul > 0.0
            or self.air_leak > 0.0
            or self._starved
            or self.oil_ul < self._pickup_oil_ul
            or self.diesel_ul < self._pickup_diesel_ul
        ):
            self._air(dt, feed, oil, diesel, share)

        returned = drawn - burn
        self.feed_ul_s = feed
        self.burn_ul_s = burn / dt
        self.return_ul_s = feed - burn / dt
        to_oil_tank = returned * self.return_valve.oil_share(self.return_leak) if returned else 0.0
        # The friction of an engine that burns is in the share of its fuel's heat.
        warmth = burn * self._coolant_j_ul if burn > 0.0 else rpm * self._motored_w_rpm * dt
        net.step(
            dt, rpm, self.speed_kmh, self.cabin_heater, self.ambient_c, self.coolant_lost, self.thermostat_stuck_open,
            warmth, heater_w * dt, oil, diesel, burn, to_oil_tank, feed * dt - burn if self._looped else 0.0,
        )  # fmt: skip
        if drawn > 0.0:
            self._account(drawn, oil, diesel, burn, to_oil_tank, returned - to_oil_tank)
            self.filter_litres += oil * 1e-6
        else:
            self._rest(dt)

    def _suctions(self, feed: float, burn: float, share: float) -> float:
        """Set both suctions for this flow; returns the flow, less where the lift pump cannot make the suction."""
        flow = burn if self._looped else feed
        net = self.net
        heat, capacity = net.heat, net.capacity
        pump_pa = at_filter = 0.0
        if share > 0.0:
            element = self._filter
            per_ul = (
                _at(self._oil_pa_s, heat[FILTER] / capacity[FILTER])
                * (element.clean_per_m3 + element.growth_per_m6 * self.filter_litres * 1e-3)
                * self.filter_extra_resistance
                * 1e-9
            )
            per_ul += self._hose_pa_s(net.hose_oil) * self._hose_per_pa_s
            at_filter = per_ul * self.water_slug * self.wax_plug * (1.0 - self.air_leak) * share * flow
            pump_pa = at_filter + self._hose_pa_s(net.valve_hose_oil) * self._valve_hose_per_pa_s * share * flow
        pa_s = 0.0
        for volume, oil, t_c in self.path.feed_line():
            pa_s += volume * self._mixed_pa_s(t_c, oil)
        pump_pa += pa_s / self._feed_line_ul * self._feed_line_per_pa_s * flow
        if share < 1.0:
            pa_s = self._diesel_pa_s[int(heat[DIESEL] / net.diesel_j_k) - _COLDEST_C]
            pump_pa += pa_s * self._diesel_per_pa_s * flow * (1.0 - share)
        if pump_pa > self._lift_limit_pa:
            less = self._lift_limit_pa / pump_pa
            pump_pa = self._lift_limit_pa
            at_filter *= less
            feed *= less
        self.suction_pa = self._head_pa + at_filter
        self.pump_suction_pa = pump_pa
        return feed

    def _hose_pa_s(self, oil: StandingOil) -> float:
        """Dynamic viscosity in Pa s in a hose, mean over its length: what still stands there, and what came after."""
        pa_s = _at(self._oil_pa_s, oil.following_c)
        if oil.left_ul > 0.0:
            pa_s += (_at(self._oil_pa_s, oil.standing_c) - pa_s) * oil.left_ul / oil.volume_ul
        return pa_s

    def _mixed_pa_s(self, t_c: float, oil: float) -> float:
        """Dynamic viscosity in Pa s of a mixture, oil by volume fraction."""
        if oil <= 0.0:
            return _at(self._diesel_pa_s, t_c)
        if oil >= 1.0:
            return _at(self._oil_pa_s, t_c)
        i = int(oil * _MIXTURES)
        low = _at(self._mixtures_pa_s[i], t_c)
        return low + (oil * _MIXTURES - i) * (_at(self._mixtures_pa_s[i + 1], t_c) - low)

    def _air(self, dt: float, feed: float, oil: float, diesel: float, share: float) -> None:
        air = self.air_leak * share
        if oil > 0.0 and self.oil_ul < self._pickup_oil_ul:
            air += share
        if diesel > 0.0 and self.diesel_ul < self._pickup_diesel_ul:
            air += 1.0 - share
        if oil + diesel <= 0.0 and feed <= 0.0:
            air = 1.0
        if air > _AIR_SHARE:
            self._air_ul = min(self._air_ul + max(feed * dt, 1.0), 2.0 * self._feed_line_ul)
        elif self._air_ul > 0.0:
            self._air_ul = max(0.0, self._air_ul - feed * dt)
        self.air_at_pump = self._air_ul >= self._feed_line_ul
        if self.air_at_pump:
            self._air_s += dt
            if self._air_s > self._air_stall_s:
                self._starved = True
        else:
            self._air_s = 0.0
            if self.cranking:
                self._starved = False

    def _account(
        self, drawn: float, oil: float, diesel: float, burn: float, to_oil_tank: float, to_diesel_tank: float
    ) -> None:
        """Move one step's volumes (uL) from the tanks through the path to engine and tanks."""
        # A tank drawn to its last drop keeps a rounding error of a composition.
        in_oil_tank = 1.0 - min(1.0, self.oil_tank_diesel_ul / self.oil_ul) if self.oil_ul > _DROP_UL else 1.0
        in_diesel_tank = min(1.0, self.diesel_tank_oil_ul / self.diesel_ul) if self.diesel_ul > _DROP_UL else 0.0
        path = self.path
        net = self.net
        t_c = (oil * net.at_valve_c + diesel * net.temperature_c(DIESEL)) / drawn
        oil_drawn = oil * in_oil_tank + diesel * in_diesel_tank
        out = path.push(drawn, oil_drawn / drawn, t_c) / drawn
        self._moved_ul += drawn
        self._oil_burnt_ul += burn * out
        self._diesel_burnt_ul += burn * (1.0 - out)
        self.oil_ul += to_oil_tank - oil
        self.diesel_ul += to_diesel_tank - diesel
        self.oil_tank_diesel_ul += to_oil_tank * (1.0 - out) - oil * (1.0 - in_oil_tank)
        self.diesel_tank_oil_ul += to_diesel_tank * out - diesel * in_diesel_tank
        # Less what was drawn from the same tank: its own mixture that goes round is no gain.
        if to_diesel_tank > 0.0:
            own = diesel * in_diesel_tank
            gain = to_diesel_tank * out - own
            if gain > 0.0:
                self._oil_into_diesel_ul += gain
            gain = to_diesel_tank * path.stirred_out - own
            if gain > 0.0:
                self._oil_into_diesel_stirred_ul += gain
            gain = to_diesel_tank * path.laminar_out - own
            if gain > 0.0:
                self._oil_into_diesel_laminar_ul += gain
        if to_oil_tank > 0.0:
            gain = to_oil_tank * (1.0 - out) - oil * (1.0 - in_oil_tank)
            if gain > 0.0:
                self._diesel_into_oil_ul += gain

    def impose_coolant_c(self, t_c: float) -> None:
        """Set the engine's coolant to a measured temperature, for runs on a log that are not to simulate it."""
        self.net.impose_coolant_c(t_c)

    # Truth that is worked out when asked for.

    @property
    def engine_c(self) -> float:
        """Engine metal."""
        return self.net.temperature_c(ENGINE)

    @property
    def coolant_engine_c(self) -> float:
        """Coolant in the engine, where the car's own gauge sits."""
        return self.net.temperature_c(COOLANT)

    @property
    def radiator_c(self) -> float:
        """Radiator."""
        return self.net.temperature_c(RADIATOR)

    @property
    def coolant_feed_c(self) -> float:
        """Coolant at the feed to the oil tank, where the board's coolant sensor sits."""
        return self.net.heat[FEED] / self.net.capacity[FEED]

    @property
    def oil_tank_c(self) -> float:
        """Bulk of the oil tank."""
        return self.net.temperature_c(BULK)

    @property
    def oil_coil_c(self) -> float:
        """Oil around coil and pick-up."""
        return self.net.temperature_c(COIL)

    @property
    def tank_outlet_c(self) -> float:
        """Oil at the pick-up; it is the coil zone's."""
        return self.net.heat[COIL] / self.net.capacity[COIL]

    @property
    def hose_c(self) -> float:
        """Oil in the coolant-heated hose, mean by volume."""
        return self.net.hose_oil.mean_c

    @property
    def filter_c(self) -> float:
        """Oil at the filter outlet."""
        return self.net.heat[FILTER] / self.net.capacity[FILTER]

    @property
    def heater_metal_c(self) -> float:
        """Metal of the electric filter heater."""
        return self.net.heat[HEATER] / self.net.capacity[HEATER]

    @property
    def valve_hose_c(self) -> float:
        """Oil between filter and supply valve, mean by volume."""
        return self.net.valve_hose_oil.mean_c

    @property
    def pump_inlet_c(self) -> float:
        """Fuel at the injection pump's inlet, mixed on its way as the stirred law says."""
        return self._at_pump_c(self.path.stirred_pump_c)

    @property
    def pump_body_c(self) -> float:
        """Injection pump and gallery."""
        return self.net.temperature_c(PUMP)

    @property
    def diesel_tank_c(self) -> float:
        """Diesel tank."""
        return self.net.temperature_c(DIESEL)

    @property
    def coldest_oil_c(self) -> float:
        """Coldest oil between tank and pump: tank outlet, hose, filter, valve hose."""
        t = self.net.temperature_c
        return min(t(COIL), self.hose_c, t(FILTER), self.valve_hose_c)

    @property
    def thermostat_opening(self) -> float:
        """Opening of the wax thermostat, 0..1."""
        return 1.0 if self.thermostat_stuck_open else self.net.opening

    @property
    def supply_v(self) -> float:
        """Supply voltage at the end of the step."""
        return self.supply.voltage_v

    @property
    def supply_min_v(self) -> float:
        """Lowest supply voltage within the step."""
        return self.supply.lowest_v

    @property
    def battery_charge(self) -> float:
        """Charge of the battery, 0..1."""
        return self.supply.charge

    @property
    def supply_valve_pos(self) -> float:
        """True position of the supply valve, 0 diesel to 1 oil."""
        return self.supply_valve.position

    @property
    def return_valve_pos(self) -> float:
        """True position of the return valve, 0 diesel to 1 oil; 0 where there is none."""
        return self.return_valve.position

    @property
    def oil_level(self) -> float:
        """Content of the oil tank over its capacity; above 1 it has spilled."""
        return self.oil_ul / self._oil_capacity_ul

    @property
    def diesel_level(self) -> float:
        """Content of the diesel tank over its capacity; above 1 it has spilled."""
        return self.diesel_ul / self._diesel_capacity_ul

    @property
    def diesel_tank_oil(self) -> float:
        """Oil fraction in the diesel tank."""
        return self.diesel_tank_oil_ul / self.diesel_ul if self.diesel_ul > 0.0 else 0.0

    @property
    def oil_tank_diesel(self) -> float:
        """Diesel fraction in the oil tank."""
        return self.oil_tank_diesel_ul / self.oil_ul if self.oil_ul > 0.0 else 0.0

    @property
    def diesel_burnt(self) -> float:
        """Diesel burnt in mL."""
        return self._diesel_burnt_ul * 1e-3

    @property
    def oil_burnt(self) -> float:
        """Oil burnt in mL."""
        return self._oil_burnt_ul * 1e-3

    @property
    def oil_into_diesel_tank(self) -> float:
        """Oil that the diesel tank has gained in mL, by the account of volumes (plug); losses are not taken off."""
        return self._oil_into_diesel_ul * 1e-3

    @property
    def oil_into_diesel_tank_worst(self) -> float:
        """The same in mL under the worst of the three laws."""
        return 1e-3 * max(self._oil_into_diesel_ul, self._oil_into_diesel_stirred_ul, self._oil_into_diesel_laminar_ul)

    @property
    def diesel_into_oil_tank(self) -> float:
        """Diesel that the oil tank has gained in mL, by the account of volumes (plug)."""
        return self._diesel_into_oil_ul * 1e-3

    def _at_pump_c(self, t_c: float) -> float:
        """Fuel that entered at t_c, as it reaches the pump: part of its lead stays in the feed line's wall."""
        net = self.net
        if self._looped and self.feed_ul_s > 0.0:
            t_c += (1.0 - self.burn_ul_s / self.feed_ul_s) * (net.temperature_c(PUMP) - t_c)
        wall_c = net.temperature_c(INLET)
        return wall_c + (t_c - wall_c) * net.feed_line_keep

    def _oil_at_pump(self) -> tuple[float, float, float]:
        """Oil fraction at the pump's inlet under each law of LAWS."""
        path = self.path
        plug, stirred, laminar = path.plug_pump_oil, path.stirred_pump, path.laminar_pump
        if self._looped and self.feed_ul_s > 0.0:
            # What comes round again mixes with the fresh on its way to the pump.
            again = 1.0 - self.burn_ul_s / self.feed_ul_s
            plug += again * (path.outlet_oil("plug") - plug)
            stirred += again * (path.stirred_out - stirred)
            laminar += again * (path.laminar_out - laminar)
        return plug, stirred, laminar

    @property
    def pump_oil_worst(self) -> float:
        """Most oil at the injection pump's inlet under any law."""
        return max(self._oil_at_pump())

    @property
    def pump_index_worst(self) -> float:
        """Refutas index of what is at the injection pump's inlet, of the three laws the thickest.

        Each law's mixture is judged at that law's own temperature.
        """
        index, at = self.fuel_table.index, self._at_pump_c
        path = self.path
        plug, stirred, laminar = self._oil_at_pump()
        return max(
            index(at(path.plug_pump_c), plug),
            index(at(path.stirred_pump_c), stirred),
            index(at(path.laminar_pump_c), laminar),
        )

    @property
    def inside_index_worst(self) -> float:
        """Refutas index of what stands between supply valve and injectors under the worst law, mean by volume.

        The feed line's content at the temperature that reaches the pump, the gallery's at the pump's.
        """
        oil = self.path.worst_inside_oil
        index = self.fuel_table.index
        line, gallery = self._feed_line_ul, self._gallery_ul
        in_gallery = index(self.net.temperature_c(PUMP), oil)
        return (line * index(self.pump_inlet_c, oil) + gallery * in_gallery) / (line + gallery)

    @property
    def volume_balance_error(self) -> float:
        """Tanks, path and burnt fuel less what there was, over what there was and moved; of fuel and oil the worse."""
        scale = self._volume_at_start_ul + self._moved_ul
        burnt = self._oil_burnt_ul + self._diesel_burnt_ul
        fuel = self.oil_ul + self.diesel_ul + burnt - self._volume_at_start_ul
        oil = (
            self.oil_ul - self.oil_tank_diesel_ul + self.diesel_tank_oil_ul + self.path.inside_ul + self._oil_burnt_ul
        ) - self._oil_at_start_ul
        return max(abs(fuel), abs(oil)) / scale if scale else 0.0

    @property
    def energy_balance_error(self) -> float:
        """Heat stored less heat booked, over all heat that was there and came in."""
        return self.net.balance_error()
