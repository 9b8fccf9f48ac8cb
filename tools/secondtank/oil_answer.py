"""What there is to say of one oil: its curve, the temperatures that follow, diesel in it, and what to beware of."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from host_sim.errors import InputError
from host_sim.oil_curve import Curve, Family, OilCurve, Reading, temperature_at, with_diesel
from host_sim.oil_settings import REACHED_C, OilSettings, TooThick, oil_settings

TABLE_C = (*range(-20, 121, 5),)
SHOWN_C = (0, 20, 40, 50, 60, 70, 80, 90, 100)
DIESEL_PERCENT = (0, 5, 10, 20, 30)

_HOT = "would give off vapour that air and a spark make an explosion of, in a tank that is heated to 70 or 80 degC"
REFUSED = {
    "petrol": f"flash point below -40 degC (from memory): it {_HOT}, and it boils in the hot lines",
    "gasoline": f"flash point below -40 degC (from memory): it {_HOT}, and it boils in the hot lines",
    "kerosene": f"flash point from 38 degC (from memory): it {_HOT}",
    "paraffin": f"flash point from 38 degC (from memory): it {_HOT}",
    "alcohol": f"flash point about 12 degC (from memory): it {_HOT}; nor does it mix well with oil",
    "ethanol": f"flash point about 12 degC (from memory): it {_HOT}; nor does it mix well with oil",
    "methanol": f"flash point about 11 degC (from memory): it {_HOT}; nor does it mix well with oil",
}
CAUTIONS = (
    "Two readings and a family's slope say something of one sample, nothing of your pump. Start at `advise`, and raise the "
    "changeover temperature at the first doubt.",
    "Hot oil burns skin and its fumes harm: warm a sample outdoors, in a water bath, never above a flame, no more than a cup of it; "
    "gloves and glasses; a lid, not water, on burning oil.",
    "Oil with diesel in it has a flash point down towards diesel's 55 degC (EN 590), below the temperature of a heated tank: vent the tank "
    "to the outside, keep sparks and flames away, open no hot tank. Rags soaked in oil can take fire by themselves: store them wet, in a closed tin.",
    "Oil as road fuel may be taxed and a changed fuel system may need approval: local law and licensed practice have the last word.",
)


@dataclass(frozen=True)
class Oil:
    """An oil as far as it is known. `evidence`: what its curve was made from; `doubts`: what speaks against it."""

    curve: Curve
    family: Family
    readings: tuple[Reading, ...]
    evidence: tuple[str, ...]
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True)
class OilAnswer:
    """What follows from an oil. `blends`: % diesel, thick mm2/s at 40 and at 70 degC, changeover in words."""

    title: str
    oil: Oil
    plan: OilSettings
    notes: tuple[str, ...]
    blends: tuple[tuple[int, float, float, str], ...]

    def verdict(self) -> str:
        """The answer in a line."""
        plan = self.plan
        return (
            f"Change over at {plan.entry_c:.1f} degC, back to diesel below {plan.exit_c:.1f} degC, start warm on oil from {plan.restart_c:.1f} degC. "
            f"At {plan.limit_c:.1f} degC the thickest plausible curve has {plan.limit_mm2_s:g} mm2/s."
        )

    def as_dict(self) -> dict[str, Any]:
        """For `--json`: temperatures in degC, viscosity in mm2/s by degC; band: thin and thick."""
        curve, plan = self.oil.curve, self.plan
        return {
            "title": self.title,
            "limit_mm2_s": plan.limit_mm2_s,
            "oil_limit_degc": plan.limit_c,
            "changeover_degc": plan.entry_c,
            "exit_degc": plan.exit_c,
            "restart_degc": plan.restart_c,
            "viscosity_mm2_s": {str(t): _three(curve.nu(t)) for t in TABLE_C},
            "band": {str(t): [_three(curve.thin(t)), _three(curve.thick(t))] for t in TABLE_C},
            "limit_band_degc": [
                round(temperature_at(nu_of, plan.limit_mm2_s), 1) for nu_of in (curve.thin, curve.nu, curve.thick)
            ],
            "cloud_degc": self.oil.family.cloud_c,
            "readings": [
                {"degc": round(r.t_c, 2), "mm2_s": _three(r.nu_mm2_s), "tolerance": round(r.tolerance, 4), "from": r.text}
                for r in self.oil.readings
            ],
            "evidence": list(self.oil.evidence),
            "diesel_blends": [
                {"diesel_percent": share, "thick_mm2_s": {"40": _three(at40), "70": _three(at70)}, "changeover": word}
                for share, at40, at70, word in self.blends
            ],
            "settings": plan.settings,
            "notes": list(self.notes),
        }  # fmt: skip


def answer(title: str, oil: Oil, values: dict[str, int], limit_mm2_s: float) -> OilAnswer:
    """Work it out. Raises InputError, TooThick."""
    plan = oil_settings(oil.curve, values, limit_mm2_s)
    notes = (*oil.doubts, *(note for reading in oil.readings for note in reading.notes), *_cautions(plan, oil))
    blends = tuple(_blend(percent, oil.curve, values, limit_mm2_s) for percent in DIESEL_PERCENT)
    return OilAnswer(title, oil, plan, notes, blends)


def blend_of(word: str | None) -> float:
    """Volume fraction of diesel from "diesel=10". Raises InputError, with the reason for what must not go into a heated tank."""
    if word is None:
        return 0.0
    name, _, amount = word.partition("=")
    name = name.strip().lower()
    if name in REFUSED:
        raise InputError("--blend", word, f"diesel=PERCENT. Never {name}: {REFUSED[name]}")
    try:
        percent = float(amount)
    except ValueError:
        percent = -1.0
    if name != "diesel" or not 0.0 <= percent <= 50.0:
        raise InputError("--blend", word, "diesel=PERCENT, 0 to 50 by volume")
    return percent / 100.0


def _cautions(plan: OilSettings, oil: Oil) -> list[str]:
    said = []
    if isinstance(oil.curve, OilCurve) and not oil.readings:
        said.append(
            "Nothing was measured: the band is as wide as what people call such oil. Two cups, one cool and one warm, narrow it by ten kelvin."
        )
    if plan.entry_c > REACHED_C:
        said.append(
            f"Oil at work reaches 77 to 79 degC (common practice, no source): {plan.entry_c:.1f} degC may never be reached. "
            "Measure it warm, or blend it with diesel."
        )
    said.append(
        f"Below about {oil.family.cloud_c:g} degC oil of this kind may cloud or set (pour point a little lower): no curve holds there, and a filter "
        "clogs with it. Frying fats set in any oil they got into."
    )
    said += [
        f"The reading at {reading.t_c:.1f} degC is near that: warm the oil until it is clear, let it cool, read again."
        for reading in oil.readings
        if reading.t_c < oil.family.cloud_c + 5.0
    ]
    return said


def _blend(percent: int, curve: Curve, values: dict[str, int], limit_mm2_s: float) -> tuple[int, float, float, str]:
    blend = with_diesel(curve, percent / 100.0)
    try:
        word = f"{oil_settings(blend, values, limit_mm2_s).entry_c:.1f} degC"
    except TooThick:
        word = "too thick"
    return percent, blend.thick(40.0), blend.thick(70.0), word


def _three(value: float) -> float:
    return float(f"{value:.4g}")
