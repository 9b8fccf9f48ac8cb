"""Fuses and cables: from the current that a circuit may draw to the smallest fuse and cross-section that carry it."""

from __future__ import annotations

from dataclasses import dataclass
from math import log, sqrt

from changeover.settings import defaults
from drawings.markdown import table
from drawings.networks import CHARGING_V
from host_sim.car_spec import default_car_path, load_car

# Copper, flexible, plain, at 20 degC: mohm/m at most (IEC 60228 class 5, as tabulated by mycableengineering.com).
RESISTANCE_MOHM_M = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30}
# One core in free air at 30 degC, 70 degC at the conductor: A (DIN VDE 0298-4 table 11, as printed by bayka.de).
AMPACITY_A = {0.75: 15.0, 1.0: 19.0, 1.5: 24.0, 2.5: 32.0, 4.0: 42.0, 6.0: 54.0}
RATED_RISE_K = 40.0
BUNDLE = 0.75  # five loaded cores together (VDE 0298-4 table 26, as printed by instarr.in)
CONDUCTOR_C = 125.0  # cable of ISO 6722-1 class C (from memory)
ENGINE_BAY_C, CABIN_C = 100.0, 60.0  # judgement
COPPER_PER_K = 0.00393  # IEC 60028
FUSES_A = (2.0, 3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)  # blade fuses, as sold (ISO 8820-3)
FUSE_USE = 0.75  # of its rating, for good: makers' advice, from memory
HIGHEST_V = 16.0  # ISO 16750-2 supply code A to D, from memory
COLD_C = -20.0


@dataclass(frozen=True)
class Circuit:
    """One fused circuit. `amps`: the most that it draws; `metres`: there and back; `drop_v`: allowed in the cable."""

    fuse: str
    name: str
    amps: float
    metres: float
    ambient_c: float
    drop_v: float
    why: str


def _coil_ohm() -> float:
    return CHARGING_V * CHARGING_V / load_car(default_car_path()).valves.coil_w.value


def coil_a() -> float:
    """A cold coil at the highest supply."""
    return HIGHEST_V / (_coil_ohm() * (1.0 + COPPER_PER_K * (COLD_C - 20.0)))


def _heater_a() -> float:
    line = load_car(default_car_path()).oil_line
    return HIGHEST_V * line.heater_w.value / line.heater_rated_v.value**2


def _valve_drop_v() -> float:
    return defaults()["supply_force_mv"] / 1000.0 - load_car(default_car_path()).valves.pull_in_v.value


def circuits() -> list[Circuit]:
    """Every circuit that leaves the battery, with the invented car's loads; put your own in."""
    drop = "the valve must still pull in at the lowest supply that the law accepts"
    half = _valve_drop_v() / 2.0
    return [
        Circuit("F1", "board and held feed", 1.0 + coil_a(), 5.0, ENGINE_BAY_C, half, "board 1 A (judgement), and F3 behind it"),
        Circuit("F2", "supply valve", coil_a(), 8.0, ENGINE_BAY_C, _valve_drop_v(), drop),
        Circuit("F3", "return valve", coil_a(), 8.0, ENGINE_BAY_C, half, "as F2; half of it is left, since F1's cable comes before"),
        Circuit("F4", "filter heater", _heater_a(), 4.0, ENGINE_BAY_C, 0.5, "as little heat as may be in plugs and cable (judgement)"),
        Circuit("F5", "run-on chain", 1.5, 8.0, ENGINE_BAY_C, 0.5, "stop solenoid 1.5 A (judgement): measure yours"),
    ]  # fmt: skip


def fuse_a(amps: float) -> float:
    """The smallest fuse that carries this current for good. Raises ValueError above 22.5 A."""
    for rating in FUSES_A:
        if rating * FUSE_USE >= amps:
            return rating
    raise ValueError(
        f"{amps:g} A are too much for a blade fuse of {FUSES_A[-1]:g} A: at most {FUSES_A[-1] * FUSE_USE:g} A"
    )


def carries_a(area_mm2: float, ambient_c: float) -> float:
    """What a cable in a bundle carries there: heat goes with the square of the current."""
    return AMPACITY_A[area_mm2] * sqrt((CONDUCTOR_C - ambient_c) / RATED_RISE_K) * BUNDLE


def drop_v(circuit: Circuit, area_mm2: float) -> float:
    """Voltage lost in the cable, copper as hot as its surroundings."""
    hot = 1.0 + COPPER_PER_K * (circuit.ambient_c - 20.0)
    return circuit.amps * circuit.metres * RESISTANCE_MOHM_M[area_mm2] / 1000.0 * hot


def area_mm2(circuit: Circuit) -> float:
    """The smallest cross-section that its fuse protects and that loses no more than allowed. Raises ValueError."""
    for area in AMPACITY_A:
        if carries_a(area, circuit.ambient_c) >= fuse_a(circuit.amps) and drop_v(circuit, area) <= circuit.drop_v:
            return area
    raise ValueError(f"{circuit.name}: {circuit.amps:.1f} A over {circuit.metres:g} m need more than 6 mm2")


def cable_page() -> str:
    """Fuses and cables."""
    rows = []
    for circuit in circuits():
        area = area_mm2(circuit)
        rows.append([
            circuit.fuse, circuit.name, f"{circuit.amps:.1f} A", f"**{fuse_a(circuit.amps):g} A**", f"{circuit.metres:g} m",
            f"{circuit.ambient_c:g} °C", f"**{area:g} mm²**", f"{carries_a(area, circuit.ambient_c):.1f} A",
            f"{drop_v(circuit, area):.2f} V", f"{circuit.drop_v:g} V", circuit.why,
        ])  # fmt: skip
    head = [
        "fuse",
        "circuit",
        "draws",
        "fuse",
        "there and back",
        "around it",
        "cable",
        "carries there",
        "loses",
        "may lose",
        "why",
    ]
    return table(head, rows)


INDUCTANCES_MH = (50.0, 100.0, 200.0, 400.0)
CLAMP_V, DIODE_V = 33.0, 0.8


def drop_out_ms(inductance_mh: float, against_v: float) -> float:
    """Time from the driver's opening until the coil's current no longer holds the valve, against this voltage."""
    hold_v = load_car(default_car_path()).valves.hold_v.value
    return inductance_mh / _coil_ohm() * log((CHARGING_V + against_v) / (hold_v + against_v))


def drop_out_page() -> str:
    """What the flyback path does to the drop-out."""
    rows = [
        [f"{mh:g} mH", f"{drop_out_ms(mh, DIODE_V):.0f} ms", f"{drop_out_ms(mh, CLAMP_V):.0f} ms"]
        for mh in INDUCTANCES_MH
    ]
    return table(["coil", "diode", f"clamp of {CLAMP_V:g} V"], rows)
