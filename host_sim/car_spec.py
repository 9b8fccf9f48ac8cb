"""A car as data: every coefficient with its unit and its source, read from TOML and refused at the first error."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
    field_validator,
    model_validator,
)
from pydantic_core import PydanticCustomError

from host_sim.errors import InputError


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class Quantity(_Table):
    """One coefficient: the number, its unit, and where the number comes from."""

    value: float = Field(allow_inf_nan=False)
    unit: str
    source: str = Field(min_length=3)


def _in(unit: str, low: float, high: float) -> Any:
    """Field of a coefficient that must come in `unit` and lie between `low` and `high`, both allowed."""
    return Field(json_schema_extra={"unit": unit, "low": low, "high": high})


class _Coefficients(_Table):
    @field_validator("*", mode="after")
    @classmethod
    def _as_declared(cls, quantity: Quantity, info: ValidationInfo) -> Quantity:
        declared: Any = cls.model_fields[info.field_name or ""].json_schema_extra
        unit, low, high = declared["unit"], declared["low"], declared["high"]
        if quantity.unit != unit:
            raise PydanticCustomError("unit", "", {"at": "unit", "found": quantity.unit, "wanted": f"unit {unit!r}"})
        if not low <= quantity.value <= high:
            raise PydanticCustomError(
                "range", "", {"at": "value", "found": quantity.value, "wanted": f"{low:g} to {high:g} {unit}"}
            )
        return quantity


def _ordered(low: Quantity, high: Quantity, at: str, wanted: str) -> None:
    if not low.value < high.value:
        raise PydanticCustomError("order", "", {"at": at, "found": high.value, "wanted": wanted})


class Engine(_Coefficients):
    """Combustion heat, the coolant's two sides, radiator and cabin heater."""

    displacement_l: Quantity = _in("L", 0.5, 8.0)
    idle_rpm: Quantity = _in("1/min", 400, 1500)
    torque_max_nm: Quantity = _in("N m", 30, 1000)
    friction_bar: Quantity = _in("bar", 0.3, 5.0)
    indicated_efficiency: Quantity = _in("1", 0.2, 0.6)
    fuel_heat_j_ul: Quantity = _in("J/uL", 25, 45)
    heat_to_coolant: Quantity = _in("1", 0.1, 0.6)
    friction_to_coolant: Quantity = _in("1", 0, 1)
    block_j_k: Quantity = _in("J/K", 5e3, 5e5)
    block_to_coolant_w_k: Quantity = _in("W/K", 50, 1e4)
    block_to_coolant_rest_w_k: Quantity = _in("W/K", 5, 1e3)
    block_loss_w_k: Quantity = _in("W/K", 1, 100)
    coolant_l: Quantity = _in("L", 1, 30)
    heater_circuit_l: Quantity = _in("L", 0.2, 10)
    heater_circuit_loss_w_k: Quantity = _in("W/K", 0.1, 50)
    heater_circuit_flow_l_min: Quantity = _in("L/min", 0.5, 60)
    coolant_flow_rpm: Quantity = _in("1/min", 500, 6000)
    cabin_heater_w_k: Quantity = _in("W/K", 5, 300)
    thermostat_start_c: Quantity = _in("degC", 60, 100)
    thermostat_full_c: Quantity = _in("degC", 65, 115)
    thermostat_hysteresis_k: Quantity = _in("K", 0, 15)
    thermostat_lag_s: Quantity = _in("s", 1, 120)
    radiator_j_k: Quantity = _in("J/K", 1e3, 1e5)
    radiator_flow_w_k: Quantity = _in("W/K", 50, 1e4)
    radiator_loss_w_k: Quantity = _in("W/K", 5, 1e3)
    wind_at_100: Quantity = _in("1", 0, 30)
    coolant_j_ul_k: Quantity = _in("J/(uL K)", 2.5e-3, 4.5e-3)

    @model_validator(mode="after")
    def _check(self) -> Engine:
        _ordered(
            self.thermostat_start_c, self.thermostat_full_c, "thermostat_full_c.value", "more than thermostat_start_c"
        )
        return self


class Tanks(_Coefficients):
    """The two tanks; the oil tank has a coil with the pick-up inside it."""

    oil_capacity_l: Quantity = _in("L", 5, 200)
    oil_shell_j_k: Quantity = _in("J/K", 0, 5e4)
    oil_loss_w_k: Quantity = _in("W/K", 0.05, 50)
    coil_zone_l: Quantity = _in("L", 0.2, 20)
    coil_w_k: Quantity = _in("W/K", 5, 1000)
    coil_to_bulk_w_k: Quantity = _in("W/K", 0.1, 200)
    return_to_coil_zone: Quantity = _in("1", 0, 1)
    diesel_capacity_l: Quantity = _in("L", 5, 200)
    diesel_shell_j_k: Quantity = _in("J/K", 0, 5e4)
    diesel_loss_w_k: Quantity = _in("W/K", 0.05, 50)
    pickup_level: Quantity = _in("1", 0, 0.2)
    fuel_j_ul_k: Quantity = _in("J/(uL K)", 1.2e-3, 2.2e-3)

    @model_validator(mode="after")
    def _check(self) -> Tanks:
        # The bulk is the tank's content less the coil zone: the shell must outweigh that zone when the tank runs empty.
        zone_j_k = self.coil_zone_l.value * 1e6 * self.fuel_j_ul_k.value
        if not zone_j_k < self.oil_shell_j_k.value:
            wanted = f"more than the {zone_j_k:g} J/K of the oil in coil_zone_l"
            raise PydanticCustomError(
                "order", "", {"at": "oil_shell_j_k.value", "found": self.oil_shell_j_k.value, "wanted": wanted}
            )
        return self


class OilLine(_Coefficients):
    """Oil tank to supply valve: coolant-heated hose, filter with exchanger and electric heater, valve hose."""

    hose_bore_mm: Quantity = _in("mm", 4, 20)
    hose_length_m: Quantity = _in("m", 0.2, 15)
    hose_wall_j_k: Quantity = _in("J/K", 0, 2e4)
    hose_exchange_w_k: Quantity = _in("W/K", 0, 500)
    hose_loss_w_k: Quantity = _in("W/K", 0.01, 20)
    filter_l: Quantity = _in("L", 0.1, 5)
    filter_metal_j_k: Quantity = _in("J/K", 100, 2e4)
    filter_exchange_w_k: Quantity = _in("W/K", 0, 500)
    filter_loss_w_k: Quantity = _in("W/K", 0.01, 20)
    filter_clean_pa: Quantity = _in("Pa", 200, 30000)
    filter_loaded_pa: Quantity = _in("Pa", 500, 90000)
    filter_life_l: Quantity = _in("L", 50, 20000)
    filter_rated_flow_ul_s: Quantity = _in("uL/s", 1000, 100000)
    filter_rated_c: Quantity = _in("degC", 20, 110)
    static_head_pa: Quantity = _in("Pa", -5000, 10000)
    heater_w: Quantity = _in("W", 0, 1000)
    heater_rated_v: Quantity = _in("V", 10, 16)
    heater_metal_j_k: Quantity = _in("J/K", 20, 5000)
    heater_to_oil_w_k: Quantity = _in("W/K", 0.5, 200)
    heater_cut_out_c: Quantity = _in("degC", 60, 108)
    heater_cut_in_c: Quantity = _in("degC", 20, 105)
    valve_hose_bore_mm: Quantity = _in("mm", 4, 20)
    valve_hose_length_m: Quantity = _in("m", 0.05, 5)
    valve_hose_wall_j_k: Quantity = _in("J/K", 0, 2e3)
    valve_hose_loss_w_k: Quantity = _in("W/K", 0.005, 5)
    valve_hose_to_block_w_k: Quantity = _in("W/K", 0, 10)

    @model_validator(mode="after")
    def _check(self) -> OilLine:
        _ordered(self.filter_clean_pa, self.filter_loaded_pa, "filter_loaded_pa.value", "more than filter_clean_pa")
        _ordered(self.heater_cut_in_c, self.heater_cut_out_c, "heater_cut_out_c.value", "more than heater_cut_in_c")
        _ordered(self.static_head_pa, self.filter_clean_pa, "filter_clean_pa.value", "more than static_head_pa")
        return self


class Injection(_Coefficients):
    """Supply valve to return valve: feed line, pump and gallery, return line, and the flows in them."""

    feed_bore_mm: Quantity = _in("mm", 4, 20)
    feed_length_m: Quantity = _in("m", 0.1, 10)
    feed_wall_j_k: Quantity = _in("J/K", 0, 2e3)
    feed_loss_w_k: Quantity = _in("W/K", 0.005, 10)
    feed_to_block_w_k: Quantity = _in("W/K", 0, 10)
    gallery_l: Quantity = _in("L", 0.01, 2)
    return_bore_mm: Quantity = _in("mm", 2, 20)
    return_length_m: Quantity = _in("m", 0.1, 15)
    return_loss_w_k: Quantity = _in("W/K", 0, 20)
    pump_j_k: Quantity = _in("J/K", 500, 5e4)
    pump_to_block_w_k: Quantity = _in("W/K", 0.1, 100)
    pump_loss_w_k: Quantity = _in("W/K", 0.05, 30)
    feed_idle_ul_s: Quantity = _in("uL/s", 2000, 40000)
    feed_per_rpm_ul_s: Quantity = _in("uL min/s", 0, 20)
    feed_max_ul_s: Quantity = _in("uL/s", 2000, 60000)
    lift_limit_pa: Quantity = _in("Pa", 20000, 95000)
    diesel_suction_pa: Quantity = _in("Pa", 100, 20000)
    stirred_volumes: Quantity = _in("1", 1, 20)
    air_stall_s: Quantity = _in("s", 0.5, 30)

    @model_validator(mode="after")
    def _check(self) -> Injection:
        stirred = self.stirred_volumes.value
        if stirred != int(stirred):
            raise PydanticCustomError(
                "whole", "", {"at": "stirred_volumes.value", "found": stirred, "wanted": "a whole number"}
            )
        return self


class Valves(_Coefficients):
    """Supply and return valve: coil and travel. De-energised is diesel."""

    travel_s: Quantity = _in("s", 0.05, 10)
    pull_in_v: Quantity = _in("V", 4, 12)
    hold_v: Quantity = _in("V", 1, 10)
    leak: Quantity = _in("1", 0, 0.2)
    coil_w: Quantity = _in("W", 1, 100)

    @model_validator(mode="after")
    def _check(self) -> Valves:
        _ordered(self.hold_v, self.pull_in_v, "pull_in_v.value", "more than hold_v")
        return self


class Supply(_Coefficients):
    """Battery, alternator and what cranking does to the voltage."""

    battery_ah: Quantity = _in("A h", 10, 300)
    rest_full_v: Quantity = _in("V", 12, 13.2)
    rest_empty_v: Quantity = _in("V", 10, 12.2)
    inner_ohm: Quantity = _in("ohm", 1e-3, 0.1)
    alternator_v: Quantity = _in("V", 13, 15)
    alternator_ohm: Quantity = _in("ohm", 0, 0.1)
    charge_a: Quantity = _in("A", 1, 200)
    base_load_a: Quantity = _in("A", 0, 60)
    crank_a: Quantity = _in("A", 20, 1000)
    crank_dip_v: Quantity = _in("V", 0.5, 9)
    crank_dip_s: Quantity = _in("s", 0.005, 0.2)
    crank_first_v: Quantity = _in("V", 3, 11)
    crank_last_v: Quantity = _in("V", 4, 12)
    crank_recovery_s: Quantity = _in("s", 0.05, 10)


class Fuels(_Coefficients):
    """Two measured viscosities of each fuel (kinematic, at a cool and a warm temperature)."""

    oil_cool_c: Quantity = _in("degC", 0, 60)
    oil_cool_nu: Quantity = _in("mm2/s", 10, 500)
    oil_warm_c: Quantity = _in("degC", 60, 140)
    oil_warm_nu: Quantity = _in("mm2/s", 3, 50)
    diesel_cool_c: Quantity = _in("degC", -20, 40)
    diesel_cool_nu: Quantity = _in("mm2/s", 1.5, 30)
    diesel_warm_c: Quantity = _in("degC", 40, 120)
    diesel_warm_nu: Quantity = _in("mm2/s", 0.5, 5)
    conductivity_w_mk: Quantity = _in("W/(m K)", 0.08, 0.3)
    line_nusselt: Quantity = _in("1", 1, 50)

    @model_validator(mode="after")
    def _check(self) -> Fuels:
        _ordered(self.oil_cool_c, self.oil_warm_c, "oil_warm_c.value", "more than oil_cool_c")
        _ordered(self.oil_warm_nu, self.oil_cool_nu, "oil_cool_nu.value", "more than oil_warm_nu")
        _ordered(self.diesel_cool_c, self.diesel_warm_c, "diesel_warm_c.value", "more than diesel_cool_c")
        _ordered(self.diesel_warm_nu, self.diesel_cool_nu, "diesel_cool_nu.value", "more than diesel_warm_nu")
        return self


class CarSpec(_Table):
    """One car."""

    title: str
    engine: Engine
    tanks: Tanks
    oil_line: OilLine
    injection: Injection
    valves: Valves
    supply: Supply
    fuels: Fuels

    def with_values(self, values: dict[str, float], source: str) -> CarSpec:
        """Copy with `values` (dotted key -> number in its own unit) that come from `source`. Raises InputError."""
        data = self.model_dump()
        for key, value in values.items():
            table: Any = data
            for part in key.split("."):
                table = table.get(part) if isinstance(table, dict) else None
            if not isinstance(table, dict) or "unit" not in table:
                raise InputError("car coefficient", key, "the dotted key of a coefficient, such as engine.block_j_k")
            table["value"] = float(value)
            table["source"] = source
        return _validated(data, "car coefficients")


def _first_error(error: ValidationError, place: str) -> InputError:
    errors = error.errors(include_url=False)
    # A misspelt key is also a missing one; the spelling is what the reader can mend.
    first = next((e for e in errors if e["type"] == "extra_forbidden"), errors[0])
    key = [str(part) for part in first["loc"]]
    found: object = first["input"]
    kind = first["type"]
    context = first.get("ctx", {})
    if "wanted" in context:
        key.append(context["at"])
        found, wanted = context["found"], context["wanted"]
    elif kind == "extra_forbidden":
        found, wanted = key[-1], "no such key (a misspelling?)"
    elif kind == "missing":
        found, wanted = "nothing", f"the key {key[-1]!r}"
        if len(key) == 2:
            wanted += " as {value = number, unit = text, source = text}"
    elif kind == "model_type":
        wanted = "{value = number, unit = text, source = text}" if len(key) == 2 else "a table"
    else:
        wanted = first["msg"].lower()
    return InputError(f"{place}: {'.'.join(key)}", found, wanted)


def _validated(data: dict[str, Any], place: str) -> CarSpec:
    try:
        return CarSpec.model_validate(data)
    except ValidationError as error:
        raise _first_error(error, place) from None


def load_car(path: str | Path) -> CarSpec:
    """The car in a TOML file. Raises InputError with file, key, value and what would be right for the first error."""
    place = str(path)
    try:
        text = Path(path).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        raise InputError(place, reason, "a readable TOML file that describes a car") from None
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(place, str(error), "TOML") from None
    return _validated(data, place)


def default_car_path() -> Path:
    """Where the car that comes with the project stands."""
    return Path(__file__).parent / "cars" / "estate_1_9.toml"
