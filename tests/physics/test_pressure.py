"""Pressure sensors' transfer functions against their datasheets."""

from collections.abc import Callable

import pytest

from host_sim.pressure import ABSOLUTE_115, ABSOLUTE_250, DIFFERENTIAL_100, DIFFERENTIAL_250, PressureSensor

Reference = Callable[..., list[dict[str, str]]]
SENSORS = {
    "MPX4250D": DIFFERENTIAL_250,
    "MPX4250A": ABSOLUTE_250,
    "MPX5100DP": DIFFERENTIAL_100,
    "MPX4115A": ABSOLUTE_115,
}


@pytest.mark.parametrize("name", SENSORS)
def test_output_is_the_datasheets(reference: Reference, name: str) -> None:
    sensor = SENSORS[name]
    for row in reference("pressure_transfer", sensor=name):
        supply_v, kpa = float(row["VS_V"]), float(row["P_kPa"])
        volts = sensor.volts(kpa, supply_v)
        if row["seen"] == "memory":
            assert volts == pytest.approx(float(row["Vout_computed_V"]), abs=0.015 * supply_v)  # its stated error band
        else:
            assert volts == pytest.approx(float(row["Vout_computed_V"]), abs=1e-4)
        if row["Vout_datasheet_typ_V"]:
            assert volts == pytest.approx(float(row["Vout_datasheet_typ_V"]), abs=1e-3)
        assert sensor.kpa(volts, supply_v) == pytest.approx(kpa, abs=1e-9)


@pytest.mark.parametrize("sensor", SENSORS.values())
def test_counts_do_not_depend_on_the_supply_and_reach_every_stated_pressure(sensor: PressureSensor) -> None:
    previous = 0.0
    for step in range(11):
        kpa = sensor.low_kpa + (sensor.high_kpa - sensor.low_kpa) * step / 10
        counts = sensor.counts(kpa)
        assert previous < counts < 65535.0
        assert counts == pytest.approx(65535 * sensor.volts(kpa, 4.9) / 4.9)
        assert sensor.counts_to_kpa(counts) == pytest.approx(kpa, abs=1e-9)
        previous = counts


def test_counts_end_at_ground_and_supply() -> None:
    assert DIFFERENTIAL_100.counts(-50.0) == 0.0
    assert DIFFERENTIAL_100.counts(500.0) == 65535.0
