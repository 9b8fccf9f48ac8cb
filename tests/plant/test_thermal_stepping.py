"""The sweep against a tight solution of the same network, written here anew from the car's coefficients."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from host_sim.car_spec import CarSpec
from host_sim.thermal import NODES, ThermalNetwork

AMBIENT_C = -10.0
STEP_S = 0.1


@dataclass(frozen=True)
class Leg:
    """One minute in which nothing but temperatures changes; speeds on the network's own steps, volumes in uL/s."""

    rpm: float
    speed_kmh: float
    cabin: float
    burn_w: float
    heater_w: float
    oil: float
    diesel: float
    burnt: float
    oil_return: float
    recirculated: float = 0.0


def an_hour() -> list[Leg]:
    """Warm-up on diesel, filling, on oil, purge, warm-up of the rest, at speeds that change from minute to minute."""
    legs = []
    for minute in range(60):
        rpm, speed = ((1800.0, 55.0), (850.0, 0.0), (2600.0, 90.0), (1300.0, 30.0))[minute % 4]
        burn_w = (9000.0, 2400.0, 18000.0, 6000.0)[minute % 4] + 2500.0
        feed = min(28000.0, 10000.0 + 6.0 * (rpm - 850.0))
        burnt = burn_w / 13.0
        on_oil = 20 <= minute < 34 or 37 <= minute < 45
        returned = feed - burnt
        legs.append(
            Leg(
                rpm=rpm,
                speed_kmh=speed,
                cabin=0.6 if minute % 10 < 6 else 0.1,
                burn_w=burn_w,
                heater_w=150.0 if 10 <= minute < 30 else 0.0,
                oil=feed if on_oil else 0.0,
                diesel=0.0 if on_oil else feed,
                burnt=burnt,
                oil_return=returned if 21 <= minute < 48 else 0.0,
                recirculated=8000.0 if minute >= 55 else 0.0,
            )
        )
    return legs


class Reference:
    """d(temperature)/dt of the network, capacities of the tanks moving with their volume.

    Beside nodes and wax: the oil that stands in each hose, and the mean of what follows it there.
    """

    def __init__(self, spec: CarSpec, oil_ul: float, diesel_ul: float) -> None:
        e, t, o, i = spec.engine, spec.tanks, spec.oil_line, spec.injection
        self.spec = spec
        fuel, coolant = t.fuel_j_ul_k.value, e.coolant_j_ul_k.value

        def hose(bore_mm: float, length_m: float) -> float:
            return math.pi / 4.0 * bore_mm**2 * length_m * 1e3 * fuel

        self.fuel = fuel
        self.c = {
            "engine": e.block_j_k.value,
            "coolant": e.coolant_l.value * 1e6 * coolant,
            "radiator": e.radiator_j_k.value,
            "feed": e.heater_circuit_l.value * 1e6 * coolant,
            "coil": t.coil_zone_l.value * 1e6 * fuel,
            "hose": hose(o.hose_bore_mm.value, o.hose_length_m.value) + o.hose_wall_j_k.value,
            "filter": o.filter_l.value * 1e6 * fuel + o.filter_metal_j_k.value,
            "heater": o.heater_metal_j_k.value,
            "valve_hose": hose(o.valve_hose_bore_mm.value, o.valve_hose_length_m.value) + o.valve_hose_wall_j_k.value,
            "inlet": hose(i.feed_bore_mm.value, i.feed_length_m.value) + i.feed_wall_j_k.value,
            "pump": i.pump_j_k.value + i.gallery_l.value * 1e6 * fuel,
        }
        self.bulk = (oil_ul - t.coil_zone_l.value * 1e6) * fuel + t.oil_shell_j_k.value
        self.diesel = diesel_ul * fuel + t.diesel_shell_j_k.value
        self.opening, self.branch = 0.0, "held"
        self.hose_ul = {
            "hose": math.pi / 4.0 * o.hose_bore_mm.value**2 * o.hose_length_m.value * 1e3,
            "valve_hose": math.pi / 4.0 * o.valve_hose_bore_mm.value**2 * o.valve_hose_length_m.value * 1e3,
        }
        self.left_ul = dict(self.hose_ul)
        # h A of a tube: Nu k / d times pi d L
        self.ua = {
            line: spec.fuels.line_nusselt.value * spec.fuels.conductivity_w_mk.value * math.pi * length_m
            for line, length_m in (
                ("hose", o.hose_length_m.value),
                ("valve_hose", o.valve_hose_length_m.value),
                ("inlet", i.feed_length_m.value),
            )
        }

    def lift(self, wax_c: float, hysteresis: bool) -> float:
        e = self.spec.engine
        span = e.thermostat_full_c.value - e.thermostat_start_c.value
        lag_k = e.thermostat_hysteresis_k.value if hysteresis else 0.0
        return (wax_c - e.thermostat_start_c.value + lag_k) / span

    def opening_at(self, wax_c: float) -> float:
        if self.branch == "held":
            return self.opening
        return min(1.0, max(0.0, self.lift(wax_c, self.branch == "closing")))

    def rates(self, s: float, y: np.ndarray, leg: Leg) -> list[float]:
        e, t, o, i = self.spec.engine, self.spec.tanks, self.spec.oil_line, self.spec.injection
        temp = dict(zip(NODES, y[:13], strict=True))
        wax = y[13]
        opening = self.opening_at(wax)
        c = dict(self.c)
        fuel = self.fuel
        draw, back = leg.oil * fuel, leg.oil_return * fuel
        through, burnt = (leg.oil + leg.diesel) * fuel, leg.burnt * fuel
        diesel_draw, diesel_back = leg.diesel * fuel, through - burnt - back
        c["bulk"] = self.bulk + (back - draw) * s
        c["diesel"] = self.diesel + (diesel_back - diesel_draw) * s
        q = dict.fromkeys(NODES, 0.0)

        def exchange(a: str, b: str, w_k: float) -> None:
            flow = w_k * (temp[a] - temp[b])
            q[a] -= flow
            q[b] += flow

        exchange("engine", "coolant", e.block_to_coolant_w_k.value)
        exchange("coolant", "radiator", e.radiator_flow_w_k.value * leg.rpm / e.coolant_flow_rpm.value * opening)
        exchange("engine", "pump", i.pump_to_block_w_k.value)
        exchange("engine", "inlet", i.feed_to_block_w_k.value)
        exchange("engine", "valve_hose", o.valve_hose_to_block_w_k.value)
        exchange("heater", "filter", o.heater_to_oil_w_k.value)
        exchange("coil", "bulk", t.coil_to_bulk_w_k.value)
        q["engine"] += leg.burn_w
        q["heater"] += leg.heater_w
        breeze = 1.0 + 0.2 * e.wind_at_100.value * leg.speed_kmh / 100.0
        for node, w_k in (
            ("engine", e.block_loss_w_k.value * breeze),
            ("radiator", e.radiator_loss_w_k.value * (1.0 + e.wind_at_100.value * leg.speed_kmh / 100.0)),
            ("feed", e.heater_circuit_loss_w_k.value * breeze + e.cabin_heater_w_k.value * leg.cabin),
            ("bulk", t.oil_loss_w_k.value * breeze),
            ("hose", o.hose_loss_w_k.value * breeze),
            ("filter", o.filter_loss_w_k.value * breeze),
            ("valve_hose", o.valve_hose_loss_w_k.value * breeze),
            ("inlet", i.feed_loss_w_k.value * breeze),
            ("pump", i.pump_loss_w_k.value * breeze),
            ("diesel", t.diesel_loss_w_k.value * breeze),
        ):
            q[node] -= w_k * (temp[node] - AMBIENT_C)

        # coolant: through the heater circuit, past coil, hose and filter, back into the engine
        circuit_l_s = e.heater_circuit_flow_l_min.value / 60.0 * leg.rpm / e.coolant_flow_rpm.value
        flow = circuit_l_s * 1e6 * e.coolant_j_ul_k.value
        q["feed"] += flow * (temp["coolant"] - temp["feed"])
        moving = temp["feed"]
        for node, ua in (
            ("coil", t.coil_w_k.value),
            ("hose", o.hose_exchange_w_k.value),
            ("filter", o.filter_exchange_w_k.value),
        ):
            given = (1.0 - math.exp(-ua / flow)) * (moving - temp[node])
            q[node] += flow * given
            moving -= given
        q["coolant"] += flow * (moving - temp["coolant"])

        # fuel
        cooled = math.exp(-i.return_loss_w_k.value / through)
        t_back = AMBIENT_C + (temp["pump"] - AMBIENT_C) * cooled
        to_coil = back * t.return_to_coil_zone.value
        q["bulk"] += (back - to_coil) * (t_back - temp["bulk"])
        if to_coil > draw:
            q["coil"] += (to_coil - draw) * (t_back - temp["coil"])
            q["bulk"] += (to_coil - draw) * (temp["coil"] - temp["bulk"])
            to_coil = draw
        q["coil"] += to_coil * t_back + (draw - to_coil) * temp["bulk"] - draw * temp["coil"]
        oil_c = temp["coil"]
        stands = []
        for k, line in enumerate(("hose", "valve_hose")):
            standing_c, following_c = y[14 + 2 * k : 16 + 2 * k]
            passing_c = oil_c
            if draw:
                passing_c += (1.0 - math.exp(-self.ua[line] / draw)) * (temp[line] - oil_c)
            out_c = standing_c if self.left_ul[line] > 0.0 else passing_c
            q[line] += draw * (oil_c - out_c)
            stands += [
                (temp[line] - standing_c) * self.ua[line] / (self.hose_ul[line] * fuel),
                (passing_c - following_c) * leg.oil / self.hose_ul[line],
            ]
            oil_c = out_c
            if line == "hose":
                q["filter"] += draw * (oil_c - temp["filter"])
                oil_c = temp["filter"]
        again = leg.recirculated * fuel
        entering = draw * oil_c + diesel_draw * temp["diesel"] + again * temp["pump"]
        given = (1.0 - math.exp(-self.ua["inlet"] / (through + again))) * (entering - (through + again) * temp["inlet"])
        q["inlet"] += given
        q["pump"] += entering - given - (through + again) * temp["pump"]
        q["diesel"] += diesel_back * (t_back - temp["diesel"])
        wax_rate = (temp["coolant"] - wax) / e.thermostat_lag_s.value
        return [q[node] / c[node] for node in NODES] + [wax_rate] + stands

    def settle(self, y: np.ndarray, leg: Leg) -> None:
        """Where no oil is drawn, a hose's content comes to rest."""
        if leg.oil:
            return
        for k, line in enumerate(self.left_ul):
            assert self.left_ul[line] in (0.0, self.hose_ul[line])
            if self.left_ul[line] == 0.0:
                y[14 + 2 * k] = y[15 + 2 * k]
                self.left_ul[line] = self.hose_ul[line]

    def minute(self, y: np.ndarray, leg: Leg) -> tuple[np.ndarray, np.ndarray]:
        """Temperatures at every fifth second of a minute, and those at its end.

        The opening follows the wax up, stands still while it turns within the hysteresis, and follows it down: the
        solution is cut wherever it passes from one of these to the next.
        """
        wax_rate = self.rates(0.0, y, leg)[13]
        if (self.branch == "opening" and wax_rate < 0.0) or (self.branch == "closing" and wax_rate > 0.0):
            self.branch = "held"
        at, values = 0.0, []
        self.settle(y, leg)
        while at < 60.0:
            until = min([60.0] + [at + left / leg.oil for left in self.left_ul.values() if leg.oil and left])
            events = {
                "held": [
                    _event(lambda _s, y: self.lift(y[13], False) - self.opening, 1.0),
                    _event(lambda _s, y: self.lift(y[13], True) - self.opening if self.opening else 1.0, -1.0),
                ],
                "opening": [_event(lambda s, y: self.rates(s, y, leg)[13], -1.0)],
                "closing": [_event(lambda s, y: self.rates(s, y, leg)[13], 1.0)],
            }[self.branch]
            solved = solve_ivp(
                lambda s, y: self.rates(s, y, leg),
                (at, until),
                y,
                method="LSODA",
                t_eval=[row for row in np.arange(5.0, 60.1, 5.0) if at < row <= until] + [until] * (until % 5.0 > 0.0),
                events=events,
                rtol=1e-9,
                atol=1e-9,
            )
            assert solved.success
            # No row where it turned before the next one; the end of a hose's standing oil is none.
            values.extend(row for s, row in zip(solved.t, np.asarray(solved.y).T, strict=True) if s % 5.0 == 0.0)
            turned = solved.status == 1
            which = next((i for i, times in enumerate(solved.t_events) if len(times)), 0)
            end, y = (
                (float(solved.t_events[which][0]), solved.y_events[which][0]) if turned else (until, solved.y[:, -1])
            )
            for line, left in self.left_ul.items():
                self.left_ul[line] = left - (end - at) * leg.oil if left - (end - at) * leg.oil > 1e-3 else 0.0
            at = end
            if not turned:
                self.opening = self.opening_at(y[13])
                continue
            self.opening = self.opening_at(y[13])
            self.branch = ("opening", "closing")[which] if self.branch == "held" else "held"
        self.bulk += 60.0 * (leg.oil_return - leg.oil) * self.fuel
        self.diesel += 60.0 * (leg.oil - leg.burnt - leg.oil_return) * self.fuel
        return np.array(values), y


def _event(of: Callable[[float, np.ndarray], float], direction: float) -> Callable[[float, np.ndarray], float]:
    def event(s: float, y: np.ndarray) -> float:
        return of(s, y)

    event.terminal = True  # type: ignore[attr-defined]
    event.direction = direction  # type: ignore[attr-defined]
    return event


def swept(spec: CarSpec, legs: list[Leg], step_s: float) -> np.ndarray:
    """Temperatures of the sweep at every fifth second."""
    net = ThermalNetwork(spec, AMBIENT_C, 28e6, 40e6)
    rows = []
    per_row = round(5.0 / step_s)
    for leg in legs:
        for _ in range(12):
            for _ in range(per_row):
                net.step(
                    step_s, leg.rpm, leg.speed_kmh, leg.cabin, AMBIENT_C, 0.0, False,
                    leg.burn_w * step_s, leg.heater_w * step_s, leg.oil * step_s, leg.diesel * step_s,
                    leg.burnt * step_s, leg.oil_return * step_s, leg.recirculated * step_s,
                )  # fmt: skip
            rows.append([net.temperature_c(node) for node in range(13)])
    assert net.balance_error() < 1e-12
    return np.array(rows)


@pytest.fixture(scope="module")
def reference(spec: CarSpec) -> np.ndarray:
    tight = Reference(spec, 28e6, 40e6)
    y, rows, openings = np.full(18, AMBIENT_C), [], []
    for leg in an_hour():
        values, y = tight.minute(y, leg)
        rows.append(values[:, :13])
        openings.append(tight.opening)
    assert max(openings) > 0.05  # the thermostat takes part, and turns
    assert any(b < a for a, b in pairwise(openings))
    return np.concatenate(rows)


def test_one_hour_warm_up_stays_within_five_millikelvin_of_tight_solution(spec: CarSpec, reference: np.ndarray) -> None:
    """Bar: 0.05 K at any node and time; 0.005 K is what a second-order sweep gives at 0.1 s."""
    error = np.abs(swept(spec, an_hour(), STEP_S) - reference)
    node = NODES[int(error.max(axis=0).argmax())]
    print(f"largest error {error.max():.5f} K, at {node}; {dict(zip(NODES, error.max(axis=0).round(5), strict=True))}")
    assert reference[:, NODES.index("filter")].max() > 70.0
    assert error.max() < 0.005


def test_sweep_is_of_second_order(spec: CarSpec, reference: np.ndarray) -> None:
    """Two and a half times the step, about six times the error; a one-way sweep would make it two and a half."""
    fine = np.abs(swept(spec, an_hour(), STEP_S) - reference).max()
    coarse = np.abs(swept(spec, an_hour(), 2.5 * STEP_S) - reference).max()
    print(f"largest error at 0.1 s {fine:.5f} K, at 0.25 s {coarse:.5f} K")
    assert coarse / fine > 4.5


def test_parked_night_in_long_steps_agrees_with_short_ones(spec: CarSpec) -> None:
    """Eight hours from working heat: 15-s steps against 0.5-s steps, every node."""
    ends = []
    for step_s in (15.0, 0.5):
        net = ThermalNetwork(spec, AMBIENT_C, 28e6, 40e6)
        for _ in range(18000):
            net.step(0.1, 1800.0, 55.0, 0.3, AMBIENT_C, 0.0, False, 1200.0, 15.0, 0.0, 1500.0, 70.0, 0.0, 0.0)
        rows = []
        for _ in range(48):
            for _ in range(round(600.0 / step_s)):
                net.step(step_s, 0.0, 0.0, 0.0, AMBIENT_C, 0.0, False, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
            rows.append([net.temperature_c(node) for node in range(13)])
        assert net.balance_error() < 1e-12
        ends.append(np.array(rows))
    assert ends[0][0].max() > 60.0
    assert np.abs(ends[0] - ends[1]).max() < 0.02
