"""The car's heat: thirteen lumped nodes, advanced by a symmetric sweep that moves heat and loses none.

Nodes hold heat (J above 0 degC), not temperature. Two nodes exchange heat by the exact solution for that pair alone;
all pairs are visited down and then up (Strang's symmetric composition: second order, stable at any step). Coolant and
fuel are parcels that pass their stations in the order of the plumbing: a stirred station takes up the exact mean share,
an exchanger the share 1 - exp(-NTU) (effectiveness of an exchanger with one side at one temperature). Each exchange is
one number, taken from one node and given to another or to the ledger.

The plain lines (hose, valve hose, feed line) are walls with the fuel that stands in them: what passes gives them the
share 1 - exp(-NTU) only, NTU = Nu pi k L / (flow times heat capacity), and carries the rest on. What stood in the two
hoses leaves them first, at its own temperature.
"""

from __future__ import annotations

import copy
from collections.abc import Callable
from math import exp, pi

from host_sim.car_spec import CarSpec

NODES: tuple[str, ...] = (
    "engine",
    "coolant",
    "radiator",
    "feed",  # coolant at the feed to the oil tank: heater core and hoses
    "coil",  # oil around coil and pick-up
    "bulk",
    "hose",  # wall, and oil at rest
    "filter",
    "heater",  # metal of the electric filter heater
    "valve_hose",  # likewise
    "inlet",  # feed line from supply valve to pump, likewise
    "pump",
    "diesel",
)
ENGINE, COOLANT, RADIATOR, FEED, COIL, BULK, HOSE, FILTER, HEATER, VALVE_HOSE, INLET, PUMP, DIESEL = range(13)

RPM_STEP = 50.0  # coolant flow follows engine speed in steps of this
SPEED_STEP = 5.0  # the wind follows road speed in steps of this, km/h
_FLOW_CHANGE = 0.01  # fuel flow may change by this share before its stations' shares are computed anew
_LEVEL_CHANGE = 0.005  # the same for the tanks' capacity
_KEEP = 512


def bore_ul(bore_mm: float, length_m: float) -> float:
    """Volume in uL of a hose of this bore (mm) and length (m)."""
    return 0.7853981633974483 * bore_mm * bore_mm * length_m * 1000.0


def line_w_k(nusselt: float, conductivity_w_mk: float, length_m: float) -> float:
    """Conductance in W/K between the fuel in a plain line and its wall: h A = Nu k / d times pi d L."""
    return nusselt * pi * conductivity_w_mk * length_m


def _taken(x: float) -> float:
    """Share of its temperature lead that a parcel gives a stirred node, x = parcel's heat capacity over the node's."""
    return (1.0 - exp(-x)) / x if x > 1e-9 else 1.0 - 0.5 * x


def _pair(g_w_k: float, h_s: float, c1: float, c2: float) -> float:
    """J/K that pass between two nodes in h_s for each kelvin between them at first; exact for the pair alone."""
    both = c1 * c2 / (c1 + c2)
    return both * (1.0 - exp(-g_w_k * h_s / both))


class StandingOil:
    """Oil that came to rest in a hose: it takes on the wall's temperature, and leaves first, as a plug."""

    def __init__(self, volume_ul: float, t_c: float) -> None:
        self.volume_ul = volume_ul
        self.left_ul = volume_ul  # of what stood, still in the hose
        self.standing_c = t_c
        self.following_c = t_c  # of what came after it, mean by volume

    @property
    def mean_c(self) -> float:
        """Temperature of all that is in the hose, mean by volume."""
        return self.following_c + (self.standing_c - self.following_c) * self.left_ul / self.volume_ul

    def rest(self, wall_c: float, keep: float) -> None:
        """Nothing moves in this step; oil keeps the share `keep` of its lead over the wall."""
        if self.left_ul < self.volume_ul:
            self.standing_c = self.mean_c
            self.left_ul = self.volume_ul
        self.standing_c = wall_c + (self.standing_c - wall_c) * keep

    def draw(self, drawn_ul: float, passing_c: float, wall_c: float, keep: float) -> float:
        """Temperature of the next drawn_ul (more than 0) that leave; what follows the standing oil has passing_c."""
        left = self.left_ul
        if left <= 0.0:
            share = drawn_ul / self.volume_ul
            self.following_c += (passing_c - self.following_c) * (share if share < 1.0 else 1.0)
            return passing_c
        standing_c = self.standing_c = wall_c + (self.standing_c - wall_c) * keep
        leaves = min(drawn_ul, left)
        self.left_ul = left - leaves
        followed_ul = self.volume_ul - self.left_ul
        if followed_ul > 0.0:
            self.following_c += (passing_c - self.following_c) * min(1.0, drawn_ul / followed_ul)
        return passing_c + (standing_c - passing_c) * leaves / drawn_ul


class ThermalNetwork:
    """Engine, coolant loop, oil line and two tanks as thirteen nodes. Temperatures in degC, volumes in uL."""

    def __init__(self, spec: CarSpec, ambient_c: float, oil_ul: float, diesel_ul: float) -> None:
        """All nodes at ambient_c, the engine at rest."""
        engine, tanks, line, injection = spec.engine, spec.tanks, spec.oil_line, spec.injection
        fuel = tanks.fuel_j_ul_k.value
        coolant = engine.coolant_j_ul_k.value
        self.fuel_j_ul_k = fuel
        coil_ul = tanks.coil_zone_l.value * 1e6
        valve_hose_ul = bore_ul(line.valve_hose_bore_mm.value, line.valve_hose_length_m.value)
        feed_ul = bore_ul(injection.feed_bore_mm.value, injection.feed_length_m.value)
        hose_ul = bore_ul(line.hose_bore_mm.value, line.hose_length_m.value)
        # J/K; the tanks' two change with their levels
        self.capacity = [
            engine.block_j_k.value,
            engine.coolant_l.value * 1e6 * coolant,
            engine.radiator_j_k.value,
            engine.heater_circuit_l.value * 1e6 * coolant,
            coil_ul * fuel,
            0.0,
            hose_ul * fuel + line.hose_wall_j_k.value,
            line.filter_l.value * 1e6 * fuel + line.filter_metal_j_k.value,
            line.heater_metal_j_k.value,
            valve_hose_ul * fuel + line.valve_hose_wall_j_k.value,
            feed_ul * fuel + injection.feed_wall_j_k.value,
            injection.pump_j_k.value + injection.gallery_l.value * 1e6 * fuel,
            0.0,
        ]
        self.bulk_j_k = (oil_ul - coil_ul) * fuel + tanks.oil_shell_j_k.value
        self.diesel_j_k = diesel_ul * fuel + tanks.diesel_shell_j_k.value
        self._per_j_k = tuple(
            1.0 / self.capacity[node] for node in (COOLANT, RADIATOR, FEED, COIL, HOSE, FILTER, VALVE_HOSE, INLET, PUMP)
        )
        self._loss_w_k = (
            engine.block_loss_w_k.value,
            engine.radiator_loss_w_k.value,
            engine.heater_circuit_loss_w_k.value,
            line.hose_loss_w_k.value,
            line.filter_loss_w_k.value,
            line.valve_hose_loss_w_k.value,
            injection.feed_loss_w_k.value,
            injection.pump_loss_w_k.value,
        )
        self._tank_loss_w_k = (tanks.oil_loss_w_k.value, tanks.diesel_loss_w_k.value)
        self._return_w_k = injection.return_loss_w_k.value
        self._cabin_w_k = engine.cabin_heater_w_k.value
        self._wind_at_100 = engine.wind_at_100.value
        self._block_w_k = (engine.block_to_coolant_w_k.value, engine.block_to_coolant_rest_w_k.value)
        self._coil_bulk_w_k = tanks.coil_to_bulk_w_k.value
        self._heater_w_k = line.heater_to_oil_w_k.value
        self._pump_w_k = injection.pump_to_block_w_k.value
        self._inlet_w_k = injection.feed_to_block_w_k.value
        self._valve_hose_w_k = line.valve_hose_to_block_w_k.value
        self._radiator_w_k_rpm = engine.radiator_flow_w_k.value / engine.coolant_flow_rpm.value
        self._coolant_w_k_rpm = (
            engine.heater_circuit_flow_l_min.value / 60.0 * 1e6 * coolant / engine.coolant_flow_rpm.value
        )
        self._exchange_w_k = (tanks.coil_w_k.value, line.hose_exchange_w_k.value, line.filter_exchange_w_k.value)
        nusselt, conductivity = spec.fuels.line_nusselt.value, spec.fuels.conductivity_w_mk.value
        self._lines_w_k = tuple(
            line_w_k(nusselt, conductivity, length.value)
            for length in (line.hose_length_m, line.valve_hose_length_m, injection.feed_length_m)
        )
        self._lines_j_k = (hose_ul * fuel, valve_hose_ul * fuel, feed_ul * fuel)
        self._return_to_coil = tanks.return_to_coil_zone.value
        self._wax = (
            engine.thermostat_start_c.value,
            1.0 / (engine.thermostat_full_c.value - engine.thermostat_start_c.value),
            engine.thermostat_hysteresis_k.value / (engine.thermostat_full_c.value - engine.thermostat_start_c.value),
        )
        self._wax_lag_s = engine.thermostat_lag_s.value

        self.wax_c = ambient_c
        self.opening = 0.0  # of the thermostat, 0..1
        self._back_c = ambient_c  # coolant as it came back from the oil side
        self._to_pump_c = ambient_c  # fuel as it last came to the pump
        self.hose_oil = StandingOil(hose_ul, ambient_c)
        self.valve_hose_oil = StandingOil(valve_hose_ul, ambient_c)
        self.at_valve_c = ambient_c  # oil that came to the supply valve last
        self.feed_line_keep = 1.0  # share of its lead over the wall that fuel keeps on its way to the pump
        heat = [c * ambient_c for c in self.capacity]
        heat[BULK] = self.bulk_j_k * ambient_c
        heat[DIESEL] = self.diesel_j_k * ambient_c
        self.heat = tuple(heat)
        self._heat_at_start_j = sum(heat)
        self.booked_j = 0.0  # what came in less what went out, exchange by exchange
        self.supplied_j = 0.0  # what came in by burning and heating alone

        # What hangs on inputs alone, kept by input; forks share it, since it is the same for all of them.
        self._known: dict[tuple[float, ...], tuple[float, ...]] = {}
        self._asked: tuple[float, ...] = ()
        self._rest_key: tuple[float, ...] = ()
        self._rest: tuple[float, ...] = ()
        self._tanks_key = (0.0, 0.0)
        self._tanks: tuple[float, float, float] = (0.0, 0.0, 0.0)
        self._coolant: tuple[float, ...] = ()
        self._fuel_key = (-1.0, -1.0, -1.0)
        self._fuel: tuple[float, ...] = ()

    def copy(self) -> ThermalNetwork:
        """An independent copy in the same state."""
        new = copy.copy(self)
        new.hose_oil = copy.copy(self.hose_oil)
        new.valve_hose_oil = copy.copy(self.valve_hose_oil)
        return new

    def line_keeps(self, step_s: float) -> tuple[float, ...]:
        """Share of its lead over the wall that fuel at rest keeps in step_s: hose, valve hose, feed line."""
        return tuple(exp(-g * step_s / c) for g, c in zip(self._lines_w_k, self._lines_j_k, strict=True))

    def temperature_c(self, node: int) -> float:
        """Temperature of a node in degC."""
        if node == BULK:
            return self.heat[BULK] / self.bulk_j_k
        if node == DIESEL:
            return self.heat[DIESEL] / self.diesel_j_k
        return self.heat[node] / self.capacity[node]

    def impose_coolant_c(self, t_c: float) -> None:
        """Set the engine's coolant to a measured temperature; the heat this takes is booked as coming from outside."""
        heat = list(self.heat)
        wanted = self.capacity[COOLANT] * t_c
        self.booked_j += wanted - heat[COOLANT]
        self.supplied_j += abs(wanted - heat[COOLANT])
        heat[COOLANT] = wanted
        self.heat = tuple(heat)

    def balance_error(self) -> float:
        """Heat stored less heat booked, over all that was stored at the start and supplied since."""
        scale = abs(self._heat_at_start_j) + self.supplied_j + abs(self.booked_j)
        return abs(sum(self.heat) - self._heat_at_start_j - self.booked_j) / scale if scale else 0.0

    def _kept(self, key: tuple[float, ...], work_out: Callable[..., tuple[float, ...]]) -> tuple[float, ...]:
        known = self._known
        found = known.get(key)
        if found is None:
            if len(known) >= _KEEP:
                known.clear()
            found = known[key] = work_out(*key)
        return found

    def _breeze(self, speed_step: float) -> float:
        return 1.0 + 0.2 * self._wind_at_100 * speed_step * SPEED_STEP / 100.0

    def _work_out_rest(self, step_s: float, speed_step: float, cabin: float, ambient_c: float) -> tuple[float, ...]:
        """Exchange with the outside in a whole step, pairs that no flow changes in half a step."""
        c = self.capacity
        wind = 1.0 + self._wind_at_100 * speed_step * SPEED_STEP / 100.0
        breeze = self._breeze(speed_step)
        engine, radiator, feed, hose, filter_, valve_hose, inlet, pump = self._loss_w_k
        lost = [
            (1.0 - exp(-g * step_s / c[node]), node)
            for node, g in (
                (ENGINE, engine * breeze),
                (RADIATOR, radiator * wind),
                (FEED, feed * breeze + self._cabin_w_k * cabin),
                (HOSE, hose * breeze),
                (FILTER, filter_ * breeze),
                (VALVE_HOSE, valve_hose * breeze),
                (INLET, inlet * breeze),
                (PUMP, pump * breeze),
            )
        ]
        gained = [share * c[node] * ambient_c for share, node in lost]
        half_s = 0.5 * step_s
        heater = _pair(self._heater_w_k, half_s, c[HEATER], c[FILTER])
        pump_pair = _pair(self._pump_w_k, half_s, c[ENGINE], c[PUMP])
        inlet_pair = _pair(self._inlet_w_k, half_s, c[ENGINE], c[INLET])
        hose_pair = _pair(self._valve_hose_w_k, half_s, c[ENGINE], c[VALVE_HOSE])
        return (
            *(share for share, _ in lost),
            *gained,
            sum(gained),
            heater / c[HEATER],
            heater / c[FILTER],
            pump_pair / c[ENGINE],
            pump_pair / c[PUMP],
            inlet_pair / c[ENGINE],
            inlet_pair / c[INLET],
            hose_pair / c[ENGINE],
            hose_pair / c[VALVE_HOSE],
            *self.line_keeps(step_s)[:2],
        )

    def _set_flows(
        self, step_s: float, rpm: float, speed_kmh: float, cabin: float, ambient_c: float, coolant_lost: float
    ) -> None:
        """What hangs on step and inputs, worked out or remembered."""
        key = (step_s, round(speed_kmh / SPEED_STEP), cabin, ambient_c)
        if key != self._rest_key:
            self._rest_key = key
            self._rest = self._kept(key, self._work_out_rest)
            self._set_tanks()
        self._coolant = self._kept((step_s, round(rpm / RPM_STEP), coolant_lost), self._work_out_coolant)

    def _set_tanks(self) -> None:
        """As `_work_out_rest` for the two tanks, whose capacity moves with the level."""
        step_s, speed_step, _, _ = self._rest_key
        oil_w_k, diesel_w_k = self._tank_loss_w_k
        breeze = self._breeze(speed_step)
        self._tanks_key = (self.bulk_j_k, self.diesel_j_k)
        self._tanks = (
            1.0 - exp(-oil_w_k * breeze * step_s / self.bulk_j_k),
            1.0 - exp(-diesel_w_k * breeze * step_s / self.diesel_j_k),
            _pair(self._coil_bulk_w_k, 0.5 * step_s, self.capacity[COIL], self.bulk_j_k),
        )

    def _work_out_coolant(self, step_s: float, rpm_step: float, lost: float) -> tuple[float, ...]:
        """Coolant flow and what hangs on it, for half a step."""
        c = self.capacity
        half_s = 0.5 * step_s
        rpm = rpm_step * RPM_STEP
        kept = 1.0 - lost
        turning, resting = self._block_w_k
        block = _pair((turning if rpm else resting) * (1.0 - 0.9 * lost), half_s, c[ENGINE], c[COOLANT])
        # The heater circuit stands highest: with half the coolant gone it holds air and nothing moves in it.
        flow_w_k = self._coolant_w_k_rpm * rpm * max(0.0, 1.0 - 2.0 * lost)
        parcel = flow_w_k * half_s
        stations = []
        for ua, node in zip(self._exchange_w_k, (COIL, HOSE, FILTER), strict=True):
            given = 1.0 - exp(-ua / flow_w_k) if flow_w_k else 0.0
            stations.append(given * _taken(given * parcel / c[node]))
        return (
            block / c[ENGINE],
            block / c[COOLANT],
            self._radiator_w_k_rpm * rpm * kept * half_s,
            0.5 * (1.0 / c[COOLANT] + 1.0 / c[RADIATOR]),
            parcel,
            0.5 * parcel / c[COOLANT],
            _taken(parcel / c[FEED]),
            *stations,
            1.0 - exp(-step_s / self._wax_lag_s),
        )

    def _set_fuel(self, step_s: float, oil_j_k: float, all_j_k: float, line_j_k: float) -> None:
        c = self.capacity
        self._fuel_key = (oil_j_k, all_j_k, line_j_k)
        shares = []
        for g, flow_j_k, node in zip(
            self._lines_w_k, (oil_j_k, oil_j_k, line_j_k), (HOSE, VALVE_HOSE, INLET), strict=True
        ):
            given = 1.0 - exp(-g * step_s / flow_j_k) if flow_j_k else 0.0
            shares.append(given * _taken(given * flow_j_k / c[node]))
        self.feed_line_keep = exp(-self._lines_w_k[2] * step_s / line_j_k)
        self._fuel = (
            _taken(oil_j_k / c[COIL]),
            _taken(oil_j_k / c[FILTER]),
            *shares,
            exp(-self._return_w_k * step_s / all_j_k),
        )

    def step(
        self,
        step_s: float,
        rpm: float,
        speed_kmh: float,
        cabin: float,
        ambient_c: float,
        coolant_lost: float,
        stuck_open: bool,
        burn_j: float,
        heater_j: float,
        oil_ul: float,
        diesel_ul: float,
        burn_ul: float,
        oil_return_ul: float,
        recirculated_ul: float,
    ) -> None:
        """Advance by step_s.

        burn_j and heater_j: heat into engine block and heater metal in this step. Volumes of this step: drawn from the
        oil tank and from the diesel tank, burnt, returned to the oil tank (the rest goes to the diesel tank), led from
        the pump back into the feed line.
        """
        asked = (step_s, rpm, speed_kmh, cabin, ambient_c, coolant_lost)
        if asked != self._asked:
            self._asked = asked
            self._set_flows(*asked)
        bulk_c, diesel_c = self.bulk_j_k, self.diesel_j_k
        tanks_key = self._tanks_key
        if (
            abs(bulk_c - tanks_key[0]) > _LEVEL_CHANGE * bulk_c
            or abs(diesel_c - tanks_key[1]) > _LEVEL_CHANGE * diesel_c
        ):
            self._set_tanks()

        (
            e_out, r_out, f_out, h_out, x_out, v_out, i_out, p_out,
            e_in, r_in, f_in, h_in, x_in, v_in, i_in, p_in, all_in,
            m_x, x_m, e_p, p_e, e_i, i_e, e_v, v_e, h_keep, v_keep,
        ) = self._rest  # fmt: skip
        b_out, d_out, k_b = self._tanks
        e_w, w_e, radiator, radiator_half, parcel, w_half, f_take, k_take, h_take, x_take, wax_share = self._coolant
        rw, rr, rf, rk, rh, rx, rv, ri, rp = self._per_j_k
        engine, coolant, rad, feed, coil, bulk, hose, filt, metal, vhose, inlet, pump, diesel = self.heat

        wax = self.wax_c
        wax += wax_share * (coolant * rw - wax)
        self.wax_c = wax
        start_c, per_k, hysteresis = self._wax
        wanted = (wax - start_c) * per_k
        opening = self.opening
        if wanted > opening:
            opening = wanted if wanted < 1.0 else 1.0
        else:
            wanted += hysteresis
            if wanted < opening:
                opening = wanted if wanted > 0.0 else 0.0
        self.opening = opening
        if stuck_open:
            opening = 1.0
        w_r = radiator * opening
        w_r /= 1.0 + w_r * radiator_half

        # pairs, down
        q = e_p * engine - p_e * pump
        engine -= q
        pump += q
        q = e_i * engine - i_e * inlet
        engine -= q
        inlet += q
        q = e_v * engine - v_e * vhose
        engine -= q
        vhose += q
        q = m_x * metal - x_m * filt
        metal -= q
        filt += q
        q = k_b * (coil * rk - bulk / bulk_c)
        coil -= q
        bulk += q
        q = e_w * engine - w_e * coolant
        engine -= q
        coolant += q
        if w_r:
            q = w_r * (coolant * rw - rad * rr)
            coolant -= q
            rad += q
        back = self._back_c
        if parcel:
            t = coolant * rw
            out = t = t - w_half * (t - back)
            d = f_take * (t - feed * rf)
            feed += parcel * d
            t -= d
            d = k_take * (t - coil * rk)
            coil += parcel * d
            t -= d
            d = h_take * (t - hose * rh)
            hose += parcel * d
            t -= d
            d = x_take * (t - filt * rx)
            filt += parcel * d
            back = t - d
            coolant -= parcel * (out - back)

        # the middle, a whole step: sources, outside, fuel
        metal += heater_j
        lost = q = e_out * (engine + 0.5 * burn_j)
        engine += burn_j + e_in - q
        q = r_out * rad
        rad += r_in - q
        lost += q
        q = f_out * feed
        feed += f_in - q
        lost += q
        q = h_out * hose
        hose += h_in - q
        lost += q
        q = x_out * filt
        filt += x_in - q
        lost += q
        q = v_out * vhose
        vhose += v_in - q
        lost += q
        q = i_out * inlet
        inlet += i_in - q
        lost += q
        q = p_out * pump
        pump += p_in - q
        lost += q
        q = b_out * (bulk - bulk_c * ambient_c)
        bulk -= q
        lost += q
        q = d_out * (diesel - diesel_c * ambient_c)
        diesel -= q
        lost += q
        if oil_ul <= 0.0:
            self.hose_oil.rest(hose * rh, h_keep)
            self.valve_hose_oil.rest(vhose * rv, v_keep)
        all_ul = oil_ul + diesel_ul
        if all_ul > 0.0:
            per_ul = self.fuel_j_ul_k
            oil = oil_ul * per_ul
            through = all_ul * per_ul
            line = through + recirculated_ul * per_ul
            fuel_key = self._fuel_key
            if (
                abs(oil - fuel_key[0]) > _FLOW_CHANGE * oil
                or abs(through - fuel_key[1]) > _FLOW_CHANGE * through
                or abs(line - fuel_key[2]) > _FLOW_CHANGE * line
            ):
                self._set_fuel(step_s, oil, through, line)
            k_share, x_share, h_share, v_share, i_share, warm = self._fuel
            t_pump = pump * rp
            t_pump += 0.5 * line * rp * (self._to_pump_c - t_pump)  # as it stands in the middle of the step
            t_back = ambient_c + warm * (t_pump - ambient_c)
            to_bulk = oil_return_ul * per_ul
            to_coil = to_bulk * self._return_to_coil
            to_bulk -= to_coil
            carried = diesel_drawn = 0.0
            t_bulk = bulk / bulk_c
            if to_coil > oil:
                # More comes back beside the pick-up than is drawn: it pushes oil out into the bulk.
                over = to_coil - oil
                t = coil * rk
                t += 0.5 * over * rk * (t_back - t)
                coil += over * (t_back - t)
                bulk += over * t
                bulk_c += over
                to_coil = oil
            if oil > 0.0:
                makeup = oil - to_coil
                bulk -= makeup * t_bulk
                bulk_c -= makeup
                t = (to_coil * t_back + makeup * t_bulk) / oil
                d = k_share * (t - coil * rk)
                coil += oil * d
                t -= d
                # A hose whose standing oil is drawn keeps the heat of what takes its place.
                stands = self.hose_oil
                wall_c = hose * rh
                out = stands.draw(oil_ul, t - h_share * (t - wall_c), wall_c, h_keep)
                hose += oil * (t - out)
                t = out
                d = x_share * (t - filt * rx)
                filt += oil * d
                t -= d
                stands = self.valve_hose_oil
                wall_c = vhose * rv
                out = stands.draw(oil_ul, t - v_share * (t - wall_c), wall_c, v_keep)
                vhose += oil * (t - out)
                self.at_valve_c = out
                carried = oil * out
            bulk += to_bulk * t_back
            bulk_c += to_bulk
            if diesel_ul > 0.0:
                diesel_drawn = diesel_ul * per_ul
                q = diesel_drawn * (diesel / diesel_c)
                diesel -= q
                carried += q
            burnt = burn_ul * per_ul
            diesel_return = through - burnt - oil_return_ul * per_ul
            diesel += diesel_return * t_back
            diesel_c += diesel_return - diesel_drawn
            t = (carried + (line - through) * t_pump) / line
            d = i_share * (t - inlet * ri)
            inlet += line * d
            t -= d
            self._to_pump_c = t
            pump += line * (t - t_pump)
            lost += burnt * t_pump + (through - burnt) * (t_pump - t_back)
            self.bulk_j_k = bulk_c
            self.diesel_j_k = diesel_c
        self.booked_j += burn_j + heater_j + all_in - lost
        self.supplied_j += burn_j + heater_j

        # coolant and pairs, up
        if parcel:
            t = coolant * rw
            out = t = t - w_half * (t - back)
            d = f_take * (t - feed * rf)
            feed += parcel * d
            t -= d
            d = k_take * (t - coil * rk)
            coil += parcel * d
            t -= d
            d = h_take * (t - hose * rh)
            hose += parcel * d
            t -= d
            d = x_take * (t - filt * rx)
            filt += parcel * d
            back = t - d
            coolant -= parcel * (out - back)
        self._back_c = back
        if w_r:
            q = w_r * (coolant * rw - rad * rr)
            coolant -= q
            rad += q
        q = e_w * engine - w_e * coolant
        engine -= q
        coolant += q
        q = k_b * (coil * rk - bulk / bulk_c)
        coil -= q
        bulk += q
        q = m_x * metal - x_m * filt
        metal -= q
        filt += q
        q = e_v * engine - v_e * vhose
        engine -= q
        vhose += q
        q = e_i * engine - i_e * inlet
        engine -= q
        inlet += q
        q = e_p * engine - p_e * pump
        engine -= q
        pump += q
        self.heat = (engine, coolant, rad, feed, coil, bulk, hose, filt, metal, vhose, inlet, pump, diesel)
