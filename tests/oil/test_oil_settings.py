"""Settings from a curve: what the law's validator asks for, what the trade drives by, what the pump gets."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from changeover.settings import NORM_NAMES, defaults
from changeover.validate import undetectable_cdegc, validate
from host_sim.errors import InputError
from host_sim.hazards import THICK_RESTART_MM2_S
from host_sim.ntc import adc_step_temperatures
from host_sim.oil_curve import (
    FAMILIES,
    OilCurve,
    from_family,
    from_readings,
    lab_point,
    line_through,
    temperature_at,
    with_diesel,
)
from host_sim.oil_settings import TooThick, oil_settings
from host_sim.profile import PROFILES, load_profile

OWN = sorted(path.stem for path in PROFILES.glob("*.toml"))


def sharp(nu40: float, slope: float = 2.65) -> OilCurve:
    """An oil that is known exactly."""
    line = line_through(40.0, nu40, slope)
    return OilCurve(line, (line,))


@given(
    nu40=st.floats(22.0, 60.0),
    slope=st.floats(2.4, 2.9),
    limit=st.floats(8.0, 25.0),
    profile=st.sampled_from([*OWN, None]),
    changes=st.fixed_dictionaries(
        {}, optional={"oil_trim_cdegc": st.integers(-500, 500), "coolant_trim_cdegc": st.integers(-500, 500), "line_drop_cdegc": st.integers(0, 2500)}
    ),
)  # fmt: skip
def test_whatever_the_oil_the_law_s_validator_takes_the_settings(
    nu40: float, slope: float, limit: float, profile: str | None, changes: dict[str, int]
) -> None:
    values = (load_profile(profile) if profile else defaults()) | changes
    curve = sharp(nu40, slope)
    try:
        found = oil_settings(curve, values, limit)
    except TooThick:
        # refused only where what sensors, lines and the coolant's hysteresis ask for leaves no room, a step's 3 K counted in
        needed_k = max(undetectable_cdegc(values) + values["line_drop_cdegc"], 600) / 100.0
        assert temperature_at(curve.thick, limit) + needed_k > 85.0
        return
    after = values | found.settings
    others = {error[0] for error in validate(values)} - set(
        found.settings
    )  # a trim alone may move a step onto a threshold
    assert [error for error in validate(after) if error[0] not in others] == []
    offset = 200 if values["ntc_check_recorded"] else 500
    assert curve.thick(found.limit_c) <= limit * (1 + 1e-9)
    assert after["oil_exit_cdegc"] >= after["oil_limit_cdegc"] + offset
    assert after["oil_entry_cdegc"] >= after["oil_limit_cdegc"] + offset + values["line_drop_cdegc"]
    assert curve.thick((after["oil_restart_cdegc"] - offset) / 100.0) <= THICK_RESTART_MM2_S * (1 + 1e-9)


def test_rules_are_kept_to_a_tenth_where_no_step_is_near() -> None:
    found = oil_settings(from_family("rapeseed", used=False), defaults())
    assert found.exit_c == pytest.approx(found.limit_c + 5.0)
    assert found.entry_c == pytest.approx(found.limit_c + 10.0)
    checked = oil_settings(from_family("rapeseed", used=False), load_profile("full_guard"))
    assert checked.entry_c == pytest.approx(checked.limit_c + 2.0 + 8.0)


def test_thresholds_are_moved_up_and_off_the_converter_s_steps() -> None:
    """Steps of the converter with this divider: 51.8 degC is the one that a restart temperature meets."""
    step = adc_step_temperatures()[2]
    assert step == pytest.approx(51.8, abs=0.1)
    met = 0
    for nu40 in range(300, 420):
        curve = sharp(nu40 / 10.0)
        found = oil_settings(curve, defaults())
        assert abs(found.restart_c - step) >= 1.5
        met += found.restart_c == pytest.approx(step + 1.5, abs=0.12)
    assert met > 10


def test_fresh_oil_gets_the_temperatures_of_the_trade() -> None:
    """Common practice, no source: people change over at 65 to 80 degC at the last point before the pump, and start on oil
    of about 54 degC (130 degF) or more; oil at work has 77 to 79 degC."""
    for name in set(FAMILIES) - {"palm", "frying"}:
        found = oil_settings(from_family(name, used=False), defaults())
        assert 65.0 <= found.entry_c <= 80.0
        assert 52.0 <= found.restart_c <= 56.0


def test_suction_table_is_the_ratio_of_dynamic_viscosities() -> None:
    """Independent: kinematic viscosity times Esteban's density (2012, second-hand), 931.0 - 0.64145 t."""
    curve = from_readings([lab_point(40, 36.2), lab_point(100, 8.1)])

    def pa_s(t_c: float) -> float:
        return curve.nu(t_c) * (931.0 - 0.64145 * t_c)

    settings = oil_settings(curve, defaults()).settings
    assert [settings[name] for name in NORM_NAMES] == [round(1000 * pa_s(70) / pa_s(t)) for t in range(20, 111, 10)]
    # a blend's table comes from a line through its curve at 40 and 100 degC: how far is that off?
    blend = with_diesel(curve, 0.2)
    settings = oil_settings(blend, defaults()).settings
    for name, t_c in zip(NORM_NAMES, range(20, 111, 10), strict=True):
        exact = 1000 * blend.nu(70) * (931.0 - 0.64145 * 70) / (blend.nu(t_c) * (931.0 - 0.64145 * t_c))
        assert settings[name] == pytest.approx(exact, rel=0.03)


def test_coolant_floor_rises_with_a_thick_oil_and_only_then() -> None:
    thin, thick = oil_settings(sharp(34.0), defaults()).settings, oil_settings(sharp(50.0), defaults()).settings
    assert "coolant_exit_cdegc" not in thin
    assert thick["coolant_exit_cdegc"] >= thick["oil_limit_cdegc"] > 6400
    assert thick["coolant_entry_cdegc"] >= thick["coolant_exit_cdegc"] + 200


def test_too_thick_and_a_limit_no_pump_has_are_refused() -> None:
    with pytest.raises(TooThick, match=r"at most 9500.*blend it with diesel"):
        oil_settings(sharp(70.0), defaults())
    for limit in (7.9, 25.1, float("nan")):
        with pytest.raises(InputError, match="8 to 25 mm2/s"):
            oil_settings(sharp(36.0), defaults(), limit)


def test_the_defaults_fit_the_oil_of_the_simulated_car() -> None:
    """Its oil, 40 mm2/s at 40 degC and 8.6 at 100, known exactly."""
    line = line_through(40.0, 40.0, 2.898)
    found, usual = oil_settings(OilCurve(line, (line,)), defaults()), defaults()
    assert found.settings["oil_limit_cdegc"] <= usual["oil_limit_cdegc"] <= found.settings["oil_limit_cdegc"] + 100
    assert found.settings["oil_entry_cdegc"] <= usual["oil_entry_cdegc"]
    assert found.settings["oil_restart_cdegc"] <= usual["oil_restart_cdegc"]
