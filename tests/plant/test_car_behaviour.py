"""The default car against bands of the trade and of the literature; each band names where it comes from."""

import math

import pytest

from host_sim.car import Car
from host_sim.car_spec import CarSpec
from host_sim.errors import InputError
from host_sim.fluids import refutas_index, refutas_nu
from tests.plant.conftest import commute, drive, start, stop


def warm_up(spec: CarSpec, ambient_c: float, cabin: float) -> tuple[Car, dict[str, float]]:
    """An hour of commuting, on oil once tank outlet and filter have 68 and 70 degC; minutes at which it happened."""
    car = Car(spec, "tank_return", ambient_c)
    car.cabin_heater = cabin
    start(car)
    minute: dict[str, float] = {}

    def look(car: Car, second: int) -> None:
        for name, reached in (
            ("coolant 80", car.coolant_engine_c >= 80.0),
            ("outlet 70", car.tank_outlet_c >= 70.0),
            ("filter 70", car.filter_c >= 70.0),
        ):
            if reached:
                minute.setdefault(name, second / 60.0)
        if not car.command_supply_oil and car.tank_outlet_c >= 68.0 and car.filter_c >= 70.0:
            car.command_supply_oil = True
            minute["on oil"] = second / 60.0
        if car.path.worst_outlet_oil > 0.0:
            car.command_return_oil = True

    drive(car, 3600, look)
    print(f"ambient {ambient_c}: {minute}; filter {car.filter_c:.1f}, coolant {car.coolant_engine_c:.1f} degC")
    return car, minute


@pytest.fixture(scope="module")
def winter(spec: CarSpec) -> tuple[Car, dict[str, float]]:
    return warm_up(spec, -10.0, 0.5)


@pytest.fixture(scope="module")
def summer(spec: CarSpec) -> tuple[Car, dict[str, float]]:
    return warm_up(spec, 25.0, 0.0)


def test_winter_warm_up(winter: tuple[Car, dict[str, float]]) -> None:
    """-10 degC: coolant 10 to 16 min, oil 12 to 25 (judgement; small diesels in NEDC at -7 degC, from memory: 60 to 80

    degC only at the end, 20 min, at lower power).
    """
    _, minute = winter
    assert 10.0 < minute["coolant 80"] < 16.0
    assert 12.0 < minute["outlet 70"] < 25.0
    assert 12.0 < minute["filter 70"] < 25.0


def test_summer_warm_up(summer: tuple[Car, dict[str, float]]) -> None:
    """NEDC from 20 to 25 degC, literature from memory, low confidence: 80 to 88 degC after 700 to 1100 s; the commute

    asks for about twice the NEDC's power: 6 to 15 min. OBD thermostat monitor: 75 degC within about 15 min.
    """
    _, minute = summer
    assert 6.0 < minute["coolant 80"] < 15.0


def test_oil_at_work(winter: tuple[Car, dict[str, float]], summer: tuple[Car, dict[str, float]]) -> None:
    """Common practice, no source: filter and oil at work about 77 to 79 degC; a band around it. Thermostats open at 80

    to 84 degC (service data of several cars).
    """
    for car, _ in (winter, summer):
        assert 70.0 < car.filter_c < 86.0
        assert 80.0 < car.coolant_engine_c < 92.0
        assert car.oil_burnt > 1000.0


def test_filter_cools_in_a_parked_car_as_the_trade_says(summer: tuple[Car, dict[str, float]]) -> None:
    """Common practice, no source: 60 to 90 min from oil at work (78 degC) to 54 degC at 25 degC outside."""
    car, _ = summer
    stop(car)
    minute_at: dict[float, float] = {}
    for minute in range(240):
        for limit in (78.0, 54.0):
            if car.filter_c < limit:
                minute_at.setdefault(limit, minute)
        car.advance(60.0)
    assert 60.0 <= minute_at[54.0] - minute_at[78.0] <= 90.0
    assert abs(car.valve_hose_c - car.filter_c) < 8.0  # the rest of the oil side cools alike
    assert car.pump_body_c < 60.0


def test_idle_burns_what_was_measured(spec: CarSpec) -> None:
    """2.0 L diesel, no load: 0.17 US gal/h = 0.6435 L/h (DOE Fact 861, 2015, Argonne worksheet)."""
    car = Car(spec, "tank_return", 20.0)
    start(car)
    car.advance(600.0)
    assert car.burn_ul_s * 3600.0 / 1e6 == pytest.approx(0.6435, rel=0.1)


def test_overrun_burns_nothing_and_warms_by_its_friction_alone(spec: CarSpec) -> None:
    """Mean effective pressure of friction times displacement times speed / 2, of which a share becomes warmth."""
    car = Car(spec, "tank_return", 20.0)
    start(car)
    car.advance(300.0)
    car.engine_rpm, car.engine_load, car.speed_kmh = 2500.0, 0.0, 80.0
    car.advance(1.0)
    supplied_j = car.net.supplied_j
    car.advance(10.0)
    assert car.engine_running
    assert car.burn_ul_s == 0.0
    e = spec.engine
    friction_w = e.friction_bar.value * 1e5 * e.displacement_l.value * 1e-3 * 2500.0 / 60.0 / 2.0
    warmth_j = 10.0 * friction_w * e.friction_to_coolant.value
    assert car.net.supplied_j - supplied_j == pytest.approx(warmth_j, rel=1e-9)
    assert 3_000.0 < warmth_j / 10.0 < 6_000.0
    stop(car)
    supplied_j = car.net.supplied_j
    car.advance(1.0)
    assert not car.engine_running
    assert car.feed_ul_s == car.burn_ul_s == 0.0
    assert car.net.supplied_j == supplied_j


def test_feed_flow_stays_in_the_band_known(spec: CarSpec) -> None:
    """Distributor pumps of light diesels: 30 to 100 L/h, most of it returned (from memory, low confidence)."""
    car = Car(spec, "tank_return", 20.0)
    start(car)
    for rpm in (850.0, 2000.0, 4500.0):
        car.engine_rpm = rpm
        car.advance(1.0)
        assert 30.0 <= car.feed_ul_s * 3.6e-3 <= 101.0
        assert car.return_ul_s > 0.8 * car.feed_ul_s


def suction_at(spec: CarSpec, t_c: float, litres: float) -> float:
    """Suction at cruise flow with the whole car at one temperature."""
    car = Car(spec, "tank_return", t_c, filter_litres=litres)
    car.key_on, car.engine_rpm = True, 1683.0
    car.command_supply_oil = True
    car.advance(2.0)
    assert car.feed_ul_s == pytest.approx(15_000.0, rel=0.01)
    return car.suction_pa


def test_suction_grows_with_cold_oil_and_with_dirt(winter: tuple[Car, dict[str, float]], spec: CarSpec) -> None:
    """Common practice, no source: the same filter reads several times higher at 20 than at 80 degC; canola-like oil by

    its viscosity ratio 5.5 (computed from recalled viscosities). Clean and hot: some kPa.
    """
    car, _ = winter
    start(car)
    car.engine_rpm, car.engine_load, car.command_supply_oil = 1683.0, 0.3, True
    car.advance(120.0)
    assert 3_000.0 < car.suction_pa < 9_000.0
    assert 4.0 < suction_at(spec, 20.0, 0.0) / car.suction_pa < 8.0
    assert suction_at(spec, 60.0, 1900.0) > 3.0 * suction_at(spec, 60.0, 0.0)


def test_suction_at_rest_and_on_diesel_is_the_static_head_alone(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0)
    head = spec.oil_line.static_head_pa.value
    assert car.suction_pa == head
    start(car)
    car.advance(2.0)
    assert car.suction_pa == head
    assert 0.0 < car.pump_suction_pa < 10_000.0


def test_frozen_oil_side_starves_the_pump_and_pump_makes_no_more_than_its_limit(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0)
    start(car)
    car.command_supply_oil = True
    car.wax_plug = 50.0
    car.advance(5.0)
    assert 40_000.0 < car.suction_pa < 60_000.0
    assert car.feed_ul_s < 5_000.0
    assert car.pump_suction_pa == pytest.approx(spec.injection.lift_limit_pa.value)


def test_empty_oil_tank_draws_air_stalls_and_starts_again_on_diesel(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0, oil_level=0.03)
    start(car)
    car.command_supply_oil = True
    car.command_return_oil = False
    seconds = 0
    while not car.air_at_pump and seconds < 600:
        car.advance(1.0)
        seconds += 1
    assert 30 < seconds < 120  # 0.4 L above the pick-up at 10 mL/s
    assert car.engine_running
    car.advance(6.0)
    assert not car.engine_running
    car.command_supply_oil = False
    car.cranking, car.engine_rpm = True, 200.0
    car.advance(60.0)
    assert not car.air_at_pump
    car.cranking, car.engine_rpm = False, 850.0
    car.advance(1.0)
    assert car.engine_running


def test_air_leak_lowers_suction_and_brings_air_to_the_pump(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 40.0)
    start(car)
    car.command_supply_oil = True
    car.advance(10.0)
    tight = car.suction_pa - spec.oil_line.static_head_pa.value
    car.air_leak = 0.5
    car.advance(10.0)
    assert car.suction_pa - spec.oil_line.static_head_pa.value == pytest.approx(0.5 * tight, rel=0.01)
    assert car.air_at_pump
    car.command_supply_oil = False
    car.air_leak = 0.0
    car.advance(30.0)
    assert not car.air_at_pump


def test_forgotten_purge_leaves_thick_fuel_between_valve_and_injectors(spec: CarSpec) -> None:
    """Mean of what stands there after a night at -10 degC: oil alone by its own line (far above 30 mm2/s); purged by

    three volumes under the worst law at most 1 / 12 oil, which is near diesel.
    """
    car = Car(spec, "tank_return", -10.0)
    start(car)
    car.command_supply_oil = car.command_return_oil = True
    drive(car, 600)
    purged = Car(spec, "tank_return", -10.0)
    start(purged)
    purged.command_supply_oil = purged.command_return_oil = True
    drive(purged, 600)
    purged.command_supply_oil = False
    passed_ul = 0.0
    second = 0
    while passed_ul < 3.0 * purged.path.volume_ul:
        commute(purged, second)
        purged.advance(1.0)
        passed_ul += purged.feed_ul_s
        second += 1
    assert purged.oil_into_diesel_tank_worst < 0.01  # mL, while the return valve was on its way
    for parked in (car, purged):
        stop(parked)
        parked.advance(12 * 3600.0)
    assert car.inside_index_worst > refutas_index(300.0)
    assert purged.path.worst_inside_oil == pytest.approx(1.0 / 12.0, abs=0.02)
    assert refutas_nu(purged.inside_index_worst) < 20.0
    assert car.pump_index_worst > purged.pump_index_worst


def test_returning_too_early_puts_oil_into_the_diesel_tank_and_it_is_counted(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0)
    start(car)
    car.command_supply_oil = True
    car.advance(120.0)
    assert car.oil_into_diesel_tank > 500.0
    assert car.oil_into_diesel_tank_worst >= car.oil_into_diesel_tank
    held_ml = car.diesel_tank_oil * car.diesel_level * 55_000.0
    assert car.oil_into_diesel_tank == pytest.approx(held_ml, rel=1e-6)
    car.command_supply_oil = False
    car.advance(300.0)
    counted = car.oil_into_diesel_tank
    car.advance(600.0)
    # The tank's own mixture going round is no new oil.
    assert car.oil_into_diesel_tank == pytest.approx(counted, rel=0.02)


def test_thermostat_stuck_open_and_lost_coolant(spec: CarSpec) -> None:
    cars = {"sound": Car(spec, "tank_return", -10.0)}
    cars["open"] = Car(spec, "tank_return", -10.0)
    cars["open"].thermostat_stuck_open = True
    cars["lost"] = Car(spec, "tank_return", -10.0)
    cars["lost"].coolant_lost = 0.9
    for car in cars.values():
        start(car)
        drive(car, 1500)
    assert cars["open"].coolant_engine_c < cars["sound"].coolant_engine_c - 15.0
    assert cars["lost"].coolant_feed_c < cars["sound"].coolant_feed_c - 15.0
    assert cars["lost"].engine_c > cars["sound"].engine_c


def test_log_can_impose_the_coolant_and_ledger_knows(spec: CarSpec) -> None:
    car = Car(spec, "tank_return", 20.0)
    start(car)
    for second in range(600):
        commute(car, second)
        car.impose_coolant_c(20.0 + 0.1 * second)
        car.advance(1.0)
    assert car.coolant_engine_c == pytest.approx(79.9, abs=1.5)
    assert car.coolant_feed_c > 60.0
    assert car.energy_balance_error < 1e-9


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        ({"layout": "two_valves"}, "tank_return or looped_return"),
        ({"oil_level": 1.2}, "0 to 1"),
        ({"diesel_level": -0.1}, "0 to 1"),
        ({"ambient_c": math.nan}, "-50 to 60"),
        ({"filter_litres": -1.0}, "0 to 100000"),
    ],
)
def test_impossible_car_is_refused(spec: CarSpec, arguments: dict, word: str) -> None:
    with pytest.raises(InputError, match=word):
        Car(**({"spec": spec, "layout": "tank_return", "ambient_c": 0.0} | arguments))
