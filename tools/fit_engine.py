"""Fit the engine side of the car `logged_petrol_1_5` to logs of a real car; judge it on logs that it has not seen.

python tools/fit_engine.py FOLDER, from the top of the project, FOLDER holding the logs as CSV files; takes minutes and
rewrites host_sim/cars/logged_petrol_1_5.toml. Oil side, tanks and supply are copied from the project's own estate car:
the car of the logs has no second tank.
"""

from __future__ import annotations

import json
import math
import statistics
import sys
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.optimize import least_squares

from host_sim.car import TICK_S, Car
from host_sim.car_spec import CarSpec, Quantity, default_car_path, load_car
from host_sim.driver import start_warm
from host_sim.errors import InputError
from host_sim.scenario import CARS
from host_sim.traces import Trace, ambient_for, read_trace

CAR_FILE = CARS / "logged_petrol_1_5.toml"
TITLE = "Logged car, 1.5 L petrol, engine side fitted to its logs; second tank invented"
FITTED_LOGS = ("drive12", "idle18", "live1", "live17", "long3")
CITATION = "the carOBD set (IEEE Xplore document 8891367)"

DISPLACEMENT_L = 1.5
EFFICIENCY = 0.38
AIR_KG_M3 = 1.16  # ideal gas at 101.3 kPa and 30 degC
VOLUMETRIC = 0.85
HEAT_PER_AIR_J_KG = 43.0e6 / 14.7
# Load is the share of the air that an engine could draw, so fuel goes with speed and load: W per 1/min at full load.
LOAD_W_RPM = DISPLACEMENT_L * 1e-3 / 120.0 * AIR_KG_M3 * VOLUMETRIC * HEAT_PER_AIR_J_KG
BLOCK_S = 30  # residuals are averaged over so long: the thermostat's own cycling is not fitted
SOFT_K = 1.0  # beyond this an average counts less than by its square


@dataclass(frozen=True)
class Sought:
    """A coefficient to be fitted: first guess and bounds in its unit; `step`: relative, for the derivative."""

    key: str
    guess: float
    low: float
    high: float
    step: float


SOUGHT = (
    Sought("heat_to_coolant", 0.44, 0.15, 0.6, 0.02),
    Sought("friction_bar", 0.9, 0.3, 3.0, 0.03),
    Sought("block_j_k", 12e3, 5e3, 1e5, 0.05),
    Sought("block_to_coolant_w_k", 1e3, 100.0, 1e4, 0.1),
    Sought("block_loss_w_k", 20.0, 2.0, 80.0, 0.1),
    Sought("coolant_l", 1.8, 1.0, 6.0, 0.05),
    Sought("thermostat_start_c", 86.5, 75.0, 89.5, 0.004),
    Sought("thermostat_full_c", 93.0, 90.0, 110.0, 0.004),
    Sought("radiator_flow_w_k", 1600.0, 300.0, 8e3, 0.1),
    Sought("radiator_loss_w_k", 50.0, 10.0, 400.0, 0.05),
    Sought("wind_at_100", 15.0, 0.5, 30.0, 0.1),
)


def median_and_p95(errors_k: Sequence[float]) -> tuple[float, float]:
    """Median and 95th percentile of the absolute errors, in K."""
    ordered = sorted(map(abs, errors_k))
    return statistics.median(ordered), ordered[min(len(ordered) - 1, round(0.95 * len(ordered)))]


def coolant_errors(spec: CarSpec, trace: Trace) -> list[float]:
    """Simulated less logged coolant in K, once a second where the log has a row; the car runs on diesel throughout."""
    coolant_c = trace.column("coolant_c")
    car = Car(spec, "tank_return", ambient_for(trace, None)[0])
    start_warm(car, coolant_c[0])
    car.key_on = True
    rows = tuple(zip(trace.column("rpm"), trace.column("load"), trace.column("speed_kmh"), strict=True))
    ticks_s = round(1.0 / TICK_S)
    times, index, errors = trace.t_s, 0, []
    for tick in range(math.floor(trace.duration_s) * ticks_s):
        t_s = times[0] + tick * TICK_S
        while index + 1 < len(times) and times[index + 1] <= t_s:
            index += 1
        car.engine_rpm, car.engine_load, car.speed_kmh = rows[index]
        car.advance(TICK_S)
        if (tick + 1) % ticks_s == 0:
            t_s = times[0] + (tick + 1) // ticks_s
            if not trace.in_gap(t_s):
                errors.append(car.coolant_engine_c - coolant_c[trace.at(t_s)])
    return errors


def read_logs(folder: Path) -> dict[str, Trace]:
    """The logs of a folder by name. Raises InputError where one of FITTED_LOGS or its coolant is not there."""
    logs = {path.stem: read_trace(path, need=("coolant_c",)) for path in sorted(folder.glob("*.csv"))}
    absent = [name for name in FITTED_LOGS if name not in logs]
    if absent or len(logs) == len(FITTED_LOGS):
        raise InputError(str(folder), ", ".join(logs) or "no *.csv", f"{', '.join(FITTED_LOGS)} and others to judge by")
    return logs


def base_spec(logs: dict[str, Trace]) -> CarSpec:
    """The estate car with what is known of the logged engine before any fit."""
    idle = [
        rpm
        for name in FITTED_LOGS
        for rpm, kmh, c in zip(*(logs[name].column(key) for key in ("rpm", "speed_kmh", "coolant_c")), strict=True)
        if rpm > 0.0 and kmh == 0.0 and c > 80.0
    ]
    spec = load_car(default_car_path())
    known = {
        "displacement_l": (DISPLACEMENT_L, "the logs' description"),
        "idle_rpm": (float(round(statistics.median(idle), -1)), "the logs: median of standing with warm coolant"),
        "indicated_efficiency": (EFFICIENCY, "judgement; of no effect on the heat, see torque_max_nm"),
        "torque_max_nm": (
            float(f"{LOAD_W_RPM * EFFICIENCY * 30.0 / math.pi:.4g}"),
            f"so that full load burns {LOAD_W_RPM:.1f} W for each 1/min: the engine draws displacement / 120 times "
            f"1/min of air at {AIR_KG_M3} kg/m3, filled to {VOLUMETRIC} (judgement), and burns petrol of 43 MJ/kg with "
            "14.7 kg of air a kg (from memory). Logged load is not torque but this filling: within 5 % it is the "
            "logged manifold pressure over the outside's",
        ),
        "fuel_heat_j_ul": (32.0, "petrol of 0.745 kg/L and 43 MJ/kg, from memory"),
        "thermostat_hysteresis_k": (1.0, "judgement: less than the logs' resolution shows"),
        "thermostat_lag_s": (5.0, "judgement: 1 to 20 s fit about as well"),
    }  # fmt: skip
    data = spec.model_dump()
    data["title"] = TITLE
    for key, (value, source) in known.items():
        data["engine"][key] |= {"value": value, "source": source}
    return CarSpec.model_validate(data)


def with_sought(spec: CarSpec, values: Sequence[float], source: str = "being fitted") -> CarSpec:
    """`spec` with values for SOUGHT, in their order."""
    named = {f"engine.{one.key}": value for one, value in zip(SOUGHT, values, strict=True)}
    return spec.with_values(named, source)


def averages(spec: CarSpec, trace: Trace) -> np.ndarray:
    """Errors of a log in K, averaged over each BLOCK_S seconds; what is left over at its end is not used."""
    errors = np.array(coolant_errors(spec, trace))
    blocks = len(errors) // BLOCK_S
    return errors[: blocks * BLOCK_S].reshape(blocks, BLOCK_S).mean(axis=1)


def fit(
    spec: CarSpec, traces: Sequence[Trace], jobs: Callable[..., Iterable[np.ndarray]]
) -> tuple[list[float], list[float]]:
    """Values for SOUGHT and their relative standard errors; `jobs` maps a function over the logs and over the steps.

    Least squares in the logarithm of each coefficient, by forward differences wide enough for the logs' resolution. The
    standard errors take the averages as independent of each other, so they are the least that can be claimed.
    """
    steps = [math.log1p(one.step) for one in SOUGHT]
    highest = np.log([one.high for one in SOUGHT])

    def errors(points: Sequence[np.ndarray]) -> list[np.ndarray]:
        specs = [with_sought(spec, [float(value) for value in np.exp(point)]) for point in points]
        found = list(jobs(averages, [s for s in specs for _ in traces], [t for _ in specs for t in traces]))
        count = len(traces)
        return [np.concatenate(found[at : at + count]) for at in range(0, len(found), count)]

    def residuals(point: np.ndarray) -> np.ndarray:
        return errors([point])[0]

    def slopes(point: np.ndarray) -> np.ndarray:
        moves = [step if value + step < top else -step for value, step, top in zip(point, steps, highest, strict=True)]
        here, *moved = errors([point, *(point + np.diag(moves))])
        return np.array([(there - here) / move for there, move in zip(moved, moves, strict=True)]).T

    start = np.log([one.guess for one in SOUGHT])
    bounds = (np.log([one.low for one in SOUGHT]), highest)
    found = least_squares(
        residuals,
        start,
        slopes,  # pyright: ignore[reportArgumentType]  scipy's own annotation leaves functions out
        bounds,
        loss="soft_l1",
        f_scale=SOFT_K,
        x_scale="jac",
        xtol=1e-4,
        ftol=1e-4,
        max_nfev=40,
    )
    left, jacobian = residuals(found.x), slopes(found.x)
    variance = float(left @ left) / (len(left) - len(SOUGHT))
    spreads = np.sqrt(np.diag(np.linalg.pinv(jacobian.T @ jacobian)) * variance)
    return [float(value) for value in np.exp(found.x)], [float(spread) for spread in spreads]


def rounded(value: float) -> float:
    """To three digits, temperatures to 0.1 degC."""
    return float(f"{value:.3g}")


def car_text(spec: CarSpec, header: Sequence[str]) -> str:
    """The car as a TOML file."""
    lines = [*(f"# {line}" for line in header), "", f"title = {json.dumps(spec.title)}"]
    for table in CarSpec.model_fields:
        if table == "title":
            continue
        lines += ["", f"[{table}]"]
        for key, quantity in getattr(spec, table):
            assert isinstance(quantity, Quantity)
            value, unit, source = (json.dumps(part) for part in (quantity.value, quantity.unit, quantity.source))
            lines.append(f"{key} = {{ value = {value}, unit = {unit}, source = {source} }}")
    return "\n".join(lines) + "\n"


HEADER = (
    "Written by tools/fit_engine.py; change that, not this. Engine side: a 1.5 L petrol car (2014), fitted to logs of",
    'the carOBD set ("Detecting Anomalies in the Engine Coolant Sensor Using One-Class Classifiers", IEEE Xplore',
    "document 8891367). All else: the invented estate car; the logged car has no second tank. What this tank's coil,",
    "hose and filter take from the coolant was there in the fit, so the block's heat capacity is the smaller for it.",
    "For drives on logs: block_loss_w_k holds for a running engine; parked, this car cools far faster than a real one.",
)


def main(folder: Path) -> None:
    """Fit, judge, print, write. Raises InputError."""
    logs = read_logs(folder)
    base = base_spec(logs)
    fitted = [logs[name] for name in FITTED_LOGS]
    with ProcessPoolExecutor() as pool:
        values, spreads = fit(base, fitted, pool.map)
        values = [rounded(value) for value in values]
        spec = with_sought(base, values)
        errors = dict(zip(logs, pool.map(coolant_errors, [spec] * len(logs), logs.values()), strict=True))
    print(f"{'log':10} {'median K':>9} {'p95 K':>7} {'mean K':>7}")
    for name, one in errors.items():
        median, p95 = median_and_p95(one)
        known = "fitted" if name in FITTED_LOGS else "not fitted"
        ambient = ambient_for(logs[name], None)[1]
        print(f"{name:10} {median:9.2f} {p95:7.2f} {statistics.fmean(one):7.2f}  {known}; ambient: {ambient}")
    seen = median_and_p95([e for name, one in errors.items() if name in FITTED_LOGS for e in one])
    unseen = median_and_p95([e for name, one in errors.items() if name not in FITTED_LOGS for e in one])
    print(
        f"all fitted: median {seen[0]:.2f} K, p95 {seen[1]:.2f} K; all not fitted: {unseen[0]:.2f} K, {unseen[1]:.2f} K"
    )
    data = spec.model_dump()
    for one, value, spread in zip(SOUGHT, values, spreads, strict=True):
        print(f"{one.key:22} {value:9g} {data['engine'][one.key]['unit']:6} +- {100.0 * spread:.1f} %")
        data["engine"][one.key]["source"] = (
            f"fitted to logs {', '.join(FITTED_LOGS)} of {CITATION}, standard error {100.0 * spread:.1f} %; coolant "
            f"error there: median {seen[0]:.1f} K, p95 {seen[1]:.1f} K; on {len(logs) - len(fitted)} logs not fitted: "
            f"median {unseen[0]:.1f} K, p95 {unseen[1]:.1f} K"
        )
    part = CAR_FILE.with_suffix(".part")
    part.write_text(car_text(CarSpec.model_validate(data), HEADER), encoding="utf-8")
    load_car(part)
    part.replace(CAR_FILE)
    print(CAR_FILE)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python tools/fit_engine.py FOLDER")
    try:
        main(Path(sys.argv[1]))
    except InputError as error:
        print(f"fit_engine: {error}", file=sys.stderr)
        sys.exit(2)
