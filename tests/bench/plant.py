"""Bar c: the thermal network beside a tight solution, by the very reference that its test uses."""

from __future__ import annotations

import numpy as np

from host_sim.car_spec import default_car_path, load_car
from host_sim.thermal import NODES
from tests.bench.table import Bar
from tests.plant.test_thermal_stepping import AMBIENT_C, STEP_S, Reference, an_hour, swept

_WITHIN_K = 0.05
_EXPECTED_K = 0.005


def measure() -> Bar:
    """Largest error of any node at any fifth second of a one-hour warm-up."""
    spec = load_car(default_car_path())
    tight, y = Reference(spec, 28e6, 40e6), np.full(18, AMBIENT_C)
    rows = []
    for leg in an_hour():
        values, y = tight.minute(y, leg)
        rows.append(values[:, :13])
    error = np.abs(swept(spec, an_hour(), STEP_S) - np.concatenate(rows)).max(axis=0)
    worst_k = float(error.max())
    node = NODES[int(error.argmax())]
    return Bar(
        "c",
        f"temperature error, one-hour warm-up from {AMBIENT_C:g} degC, {STEP_S:g}-s steps, any node: below "
        f"{_WITHIN_K:g} K (expected {_EXPECTED_K:g} K)",
        f"{worst_k:.5f} K, at {node}, beside solve_ivp (LSODA, 1e-9)",
        worst_k < _WITHIN_K,
        {"kelvin": worst_k, "nodes": dict(zip(NODES, error.tolist(), strict=True))},
    )
