"""A made-up day for the report: to work, parked for eight hours, home again. No value is a real car's."""

import math
import os
import shutil
from collections.abc import Callable, Iterator
from itertools import pairwise
from typing import Any

import pytest

from secondtank.report_data import DriveRecord

TRIP_S = 2700
PARKED_S = 8 * 3600 + 10 * 60
BACK_S = TRIP_S + PARKED_S
END_S = BACK_S + 1500

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def _smooth(t: float, begin: float, time_constant: float) -> float:
    return 0.0 if t < begin else 1.0 - math.exp(-(t - begin) / time_constant)


def _sample(t: float) -> dict[str, float]:
    """One second of the made-up day; the second trip starts from what is left of the first one's heat."""
    if t < TRIP_S:
        coolant, oil = -10 + 98 * _smooth(t, 20, 240), -10 + 85 * _smooth(t, 150, 420)
    elif t < BACK_S:
        left = math.exp(-(t - TRIP_S) / 4200)
        coolant, oil = -8 + 96 * left, -8 + 83 * left
    else:
        coolant, oil = -7 + 95 * _smooth(t, BACK_S + 20, 230), -7 + 82 * _smooth(t, BACK_S + 140, 400)
    driving = t < TRIP_S or t >= BACK_S
    filling = 1020 <= t < 1034
    on_oil = 1034 <= t < 2460
    purging = 2460 <= t < 2565 or t >= BACK_S + 1430
    second_oil = BACK_S + 900 <= t < BACK_S + 1430
    inside = 0.0
    if filling:
        inside = 12.0 * (t - 1020)
    elif on_oil or second_oil:
        inside = 168.0
    elif 2460 <= t < 2565:
        inside = 168.0 * min(1.0, 20.0 / (t - 2459))
    elif 2565 <= t < BACK_S + 900:
        inside = 14.0
    elif purging:
        inside = 168.0 * min(1.0, 20.0 / (t - BACK_S - 1429))
    oil_side = on_oil or second_oil or filling
    suction = (
        (9.0 + 16.0 * math.exp(-(oil - 40) / 25) + 1.5 * math.sin(t / 17))
        if oil_side
        else 2.0 + math.sin(t / 23)
        if driving
        else 0.1
    )
    stuck = 1800 <= t < 1830
    return {
        "coolant_c": coolant,
        "coolant_read_c": coolant + 0.4 * math.sin(t * 1.7),
        "oil_filter_c": oil,
        "oil_read_c": 20.0 if stuck else oil + 0.5 * math.sin(t * 1.3),
        "tank_outlet_c": oil + 4,
        "pump_inlet_c": 0.6 * oil + 0.3 * coolant if driving else oil,
        "ambient_c": -10 + 3 * _smooth(t, 0, 20000),
        "suction_kpa": suction,
        "suction_read_kpa": suction + 0.2 * math.sin(t * 2.1),
        "supply_cmd": 1.0 if oil_side else 0.0,
        "supply_true": 1.0 if on_oil or second_oil else 0.5 if filling and t < 1022 else 1.0 if filling else 0.0,
        "return_cmd": 1.0 if on_oil or second_oil or purging else 0.0,
        "return_true": 1.0 if on_oil or second_oil or purging else 0.0,
        "path_oil_worst_ml": inside,
        "path_oil_plug_ml": 0.0 if purging and inside < 90 else inside if oil_side or purging else 0.0,
        "fill_ml": 12.0 * (t - 1020) if filling else 0.0,
        "credit_ml": 4.8 * (t - 2460) if 2460 <= t < 2565 else 4.8 * (t - BACK_S - 1430) if purging else 0.0,
        "pump_mm2_s": 35.0 * math.exp(-0.03 * (oil - 40)) if inside > 60 else 4.5,
        "oil_level_pct": 70.0 - 0.0016 * min(max(t - 1020, 0), 1440) - 0.0016 * max(t - BACK_S - 900, 0),
        "diesel_level_pct": 55.0,
        "speed_kmh": max(0.0, 55 + 35 * math.sin(t / 97) + 10 * math.sin(t / 11)) if driving else 0.0,
        "supply_v": 9.2 if t in (3.0, float(BACK_S + 3)) else 14.1 if driving else 12.4,
    }


@pytest.fixture(scope="session")
def make_drive() -> Callable[[], DriveRecord]:
    """Builds a fresh record of the made-up day, for a test to bend."""
    return synthetic_drive


def synthetic_drive() -> DriveRecord:
    times = [
        float(t)
        for t in [*range(0, TRIP_S + 120), *range(TRIP_S + 120, BACK_S - 120, 20), *range(BACK_S - 120, END_S + 1)]
    ]
    rows = [_sample(t) for t in times]
    series: dict[str, list[float | None]] = {name: [row[name] for row in rows] for name in rows[0]}
    series["t_s"] = list(times)

    def change(time_s: float, before: str, after: str, reason: str, said: str, **numbers: str) -> dict[str, Any]:
        return {"time_s": time_s, "from": before, "to": after, "reason": reason, "text": said, "numbers": numbers}

    transitions = [
        change(5.0, "PARKED", "ON_DIESEL", "key_on", "Key on, nothing in the lines."),
        change(
            1020.0,
            "ON_DIESEL",
            "FILLING",
            "entry",
            "Oil is warm enough: changing over.",
            oil="70.2 degC",
            threshold="70.0 degC",
            suction="7.1 kPa",
        ),
        change(1034.0, "FILLING", "ON_OIL", "fill_complete", "Running on oil.", filled="168 mL", needed="84 mL"),
        change(2460.0, "ON_OIL", "PURGING", "button", "Stopping soon: purging.", purge="504 mL"),
        change(
            2565.0, "PURGING", "ON_DIESEL", "purge_complete", "The lines are clean.", credited="504 mL", needed="504 mL"
        ),
        change(float(TRIP_S), "ON_DIESEL", "PARKED", "key_off", "Key off."),
        change(float(BACK_S + 5), "PARKED", "ON_DIESEL", "key_on", "Key on, nothing in the lines."),
        change(
            BACK_S + 900.0, "ON_DIESEL", "ON_OIL", "entry", "Running on oil.", oil="70.4 degC", threshold="70.0 degC"
        ),
        change(BACK_S + 1430.0, "ON_OIL", "PURGING", "button", "Stopping soon: purging.", purge="504 mL"),
    ]
    steps = [(0.0, "PARKED")] + [(row["time_s"], row["to"]) for row in transitions] + [(float(END_S), "")]
    severity = {"FILLING": 1, "PURGING": 1, "ON_OIL": 0}
    state = [(t0, t1, name, severity.get(name, 0), "") for (t0, name), (t1, _) in pairwise(steps)]
    return DriveRecord(
        summary={
            "verdict": "hazard",
            "title": "Winter commute at -10 degC <made up>",
            "hazards": [
                {
                    "id": "H1",
                    "name": "oil too thick at the injection pump",
                    "time_s": 1019.5,
                    "value": 21.4,
                    "limit": 20.0,
                    "unit": "mm2/s",
                    "told": False,
                },
                {
                    "id": "H2",
                    "name": "left standing with oil in the lines",
                    "time_s": float(END_S),
                    "value": 44.0,
                    "limit": 30.0,
                    "unit": "mm2/s",
                    "told": True,
                },
            ],
            "time_on_oil_s": 1956.0,
            "time_on_oil_ideal_s": 2080.0,
            "use_share": 0.9404,
            "false_forced_exits": 0,
            "transitions": transitions,
            "litres": {
                "diesel_burnt": 1.234,
                "oil_burnt": 2.345,
                "oil_into_diesel_tank": 0.0123,
                "diesel_into_oil_tank": 0.456,
            },
            "balance": {"volume": 3.1e-13, "energy": 2.2e-8},
            "seed": 1234567,
            "settings_hash": "0123456789abcdef",
            "firmware_hash": "fedcba9876543210",
            "version": "0.1.0",
            "notes": ["oil level is <not in log>: its row was not evaluated"],
            "interrupted": False,
            "oil_in_lines": True,
        },
        settings={
            "oil_entry_cdegc": 7000,
            "oil_exit_cdegc": 6200,
            "suction_block_pa": 22000,
            "purge_factor_percent": 300,
            "tick_ms": 100,
        },
        series=series,
        thresholds={
            "oil_entry_c": 70.0,
            "oil_exit_c": 62.0,
            "coolant_entry_c": 75.0,
            "suction_block_kpa": 22.0,
            "suction_force_kpa": 30.0,
            "h1_mm2_s": 20.0,
            "h4_kpa": 40.0,
            "fill_target_ml": 84.0,
            "purge_target_ml": 504.0,
        },
        strips={
            "state": state,
            "messages": [
                (5.0, 1020.0, "oil_cold", 0, "Oil is still too thick: driving on diesel."),
                (
                    1800.5,
                    1830.0,
                    "oil_sensor_stuck",
                    2,
                    "The oil sensor has not moved; check plug & wire <behind the filter>.",
                ),
                (
                    float(TRIP_S - 20),
                    float(TRIP_S + 40),
                    "safe_to_park",
                    1,
                    "Lines are clean; you may park as long as you like.",
                ),
                (
                    END_S - 2.0,
                    float(END_S),
                    "purge_unfinished",
                    3,
                    "Oil is in the lines: start again before the engine is cold.",
                ),
            ],
            "faults": [(1800.0, 1830.0, "oil sensor frozen", 2, "reads 20 °C")],
            "hazards": [(1019.5, 1019.8, "H1", 3, "21.4 mm²/s")],
        },
        events=[
            {"time_s": 3.0, "kind": "engine", "text": "Engine started.", "reason": "", "numbers": {"supply": "9.2 V"}},
            {
                "time_s": 640.0,
                "kind": "refusal",
                "text": "Not yet: oil is cold.",
                "reason": "oil_cold",
                "numbers": {"oil": "41.0 degC", "threshold": "70.0 degC"},
            },
            {
                "time_s": 1800.0,
                "kind": "fault",
                "text": "<script>alert('fault')</script>",
                "reason": "planted & seen",
                "numbers": {"a<b": "<1 degC>"},
            },
        ],
    )


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    webdriver = pytest.importorskip("selenium.webdriver")
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not chromium or not driver:
        reason = "needs chromium and chromedriver on the path"
        if os.environ.get("CI") == "true":
            pytest.fail(reason)
        pytest.skip(reason)
    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    session = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield session
    session.quit()
