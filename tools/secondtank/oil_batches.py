"""The verbs `oil batch` and `oil tank`: what a batch is worth, its label, and what the batches in the tank make together."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from host_sim.errors import InputError
from host_sim.oil_batch import CANNOT_TELL, DIESEL, MET, NOT_MET, Batch, Judged, Limit, Water
from host_sim.oil_curve import Family, InconsistentReadings, family_named
from host_sim.oil_settings import TooThick
from secondtank import oil_page
from secondtank.drive import folder_of
from secondtank.oil import RAN, Measured, Out, not_valid, tell
from secondtank.oil_answer import Oil
from secondtank.oil_record import BatchRow, TankRow, Weighing, append, read_record
from secondtank.report.words import text

_WORDS = {MET: "accepted", NOT_MET: "not accepted", CANNOT_TELL: "cannot be told yet"}
WATER_CAUTION = (
    "Water by weighing: outdoors, at most half a litre, lid and gloves at hand, stir without pause from 90 degC on, stop at 120 degC: water that "
    "was trapped below the oil boils all at once and throws it out. Never water on burning oil. What else boils off counts as water."
)


@dataclass(frozen=True)
class BatchOrder:
    """What the command line asks for; without origin and litres: show what is recorded."""

    name: str
    on: str | None
    origin: str | None
    litres: float | None
    family: str
    fresh: bool
    settling_days: float | None
    filter_um: str | None
    weighed: tuple[float | None, float | None, float | None]  # before, after, division of the scale, g
    sediment_ml_l: float | None
    measured: Measured
    record: Path
    folder: Path
    as_json: bool


@dataclass(frozen=True)
class TankOrder:
    """At most one of fill ("NAME=LITRES"), diesel, left; then the mixture's answer."""

    fill: str | None
    diesel_l: float | None
    left_l: float | None
    on: str | None
    record: Path
    out: Out


def run_batch(order: BatchOrder) -> int:
    """Record a batch or show one; its acceptance and its label. Raises InputError."""
    known = read_record(order.record).row(order.name)
    new = order.origin is not None or order.litres is not None
    if new and known is not None:
        raise InputError("batch", order.name, f"a new name: this one is recorded; correct it in {order.record}")
    if not new and known is None:
        raise InputError("batch", order.name, f"one recorded in {order.record}, or --origin and --litres for a new one")
    try:
        row = known or _row(order)
        batch = row.batch()
    except InconsistentReadings as error:
        return not_valid(error)
    folder = folder_of(order.folder)
    if known is None:
        append(order.record, "batch", row)
    label = folder / "label.html"
    label.write_text(_label(row, batch), encoding="utf-8")
    if order.as_json:
        print(json.dumps(_as_dict(row, batch), indent=2))
        return RAN
    print(f"{row.name}: {_WORDS[batch.accepted()]}")
    print(oil_page.in_columns(_HEADS, [_judged_row(judged) for judged in batch.judged()]))
    if batch.water:
        print(f"  {_resolves(batch.water)}")
    print(f"  ! {WATER_CAUTION}\n  {label}")
    return RAN


def run_tank(order: TankOrder) -> int:
    """Record what happened to the tank, then tell of what is in it. Raises InputError."""
    asked = [given for given in (order.fill, order.diesel_l, order.left_l) if given is not None]
    if len(asked) > 1:
        raise InputError(
            "tank", f"{len(asked)} of --fill, --diesel, --left", "one at a time, in the order they happened"
        )
    record = read_record(order.record)
    if asked:
        record = append(order.record, "tank", _tank_row(order))
    shares = record.contents().shares()
    rows = [row for row in record.batch if row.name in shares]
    try:
        batches = [row.batch() for row in rows]
        curve = record.contents().curve(batches)
        doubts = [f"{b.name} is in it: {_WORDS[b.accepted()]}" for b in batches if b.accepted() != MET]
        evidence = [f"{100 * share:.1f} % {name}" for name, share in sorted(shares.items(), key=lambda pair: -pair[1])]
        title = f"The tank: {record.contents().content_l:.1f} L"
        return tell(title, Oil(curve, _coldest(rows), (), tuple(evidence), tuple(doubts)), order.out)
    except (InconsistentReadings, TooThick) as error:
        return not_valid(error)


def _row(order: BatchOrder) -> BatchRow:
    before, after, division = order.weighed
    weighing = None
    if before is not None and after is not None and division is not None:
        weighing = Weighing(before_g=before, after_g=after, division_g=division)
    elif order.weighed != (None, None, None):
        raise InputError("weighing", order.weighed, "--sample, --heated and --scale together, in g")
    if order.origin is None or order.litres is None:
        raise InputError("batch", order.name, "--origin and --litres for a new one")
    try:
        steps = [float(step) for step in order.filter_um.split(",")] if order.filter_um else []
    except ValueError:
        raise InputError("--filter", order.filter_um, "um of each step, as 200,50,10") from None
    family_named(order.family)
    measured = order.measured
    row = {
        "name": order.name, "on": _day(order.on), "origin": order.origin, "litres": order.litres, "family": order.family,
        "fresh": order.fresh, "settling_days": order.settling_days, "filter_um": steps, "weighing": weighing,
        "sediment_ml_l": order.sediment_ml_l, "points": list(measured.points), "cups": list(measured.cups),
        "seconds": list(measured.seconds), "at": list(measured.at),
    }  # fmt: skip
    return _checked(BatchRow, row)


def _tank_row(order: TankOrder) -> TankRow:
    on = _day(order.on)
    if order.left_l is not None:
        return _checked(TankRow, {"on": on, "did": "left", "litres": order.left_l})
    if order.diesel_l is not None:
        return _checked(TankRow, {"on": on, "did": "fill", "litres": order.diesel_l, "name": DIESEL})
    name, _, litres = (order.fill or "").rpartition("=")
    try:
        return _checked(TankRow, {"on": on, "did": "fill", "litres": float(litres), "name": name})
    except ValueError:
        raise InputError("--fill", order.fill, "NAME=LITRES, the name of a recorded batch") from None


def _day(word: str | None) -> date:
    try:
        return date.fromisoformat(word) if word else date.today()
    except ValueError:
        raise InputError("--on", word, "a day as 2026-11-02") from None


def _coldest(rows: Sequence[BatchRow]) -> Family:
    """Of what is in the tank the family that clouds first; it takes the rest with it."""
    return max(
        (family_named(row.family) for row in rows), key=lambda family: family.cloud_c, default=family_named("frying")
    )


_HEADS = ("", "limit", "found", "verdict")


def _judged_row(judged: Judged) -> tuple[str, ...]:
    limit = judged.limit
    name = f"{limit.name} (target)" if limit.target else limit.name
    return name, _wanted(limit), _found(judged.found), judged.verdict


def _wanted(limit: Limit) -> str:
    return f"{'at least' if limit.at_least else 'at most'} {limit.value:g} {limit.unit}"


def _found(span: tuple[float, float] | None) -> str:
    if span is None:
        return "nobody looked"
    low, high = (f"{edge:.3g}" for edge in span)
    return low if low == high else f"{low} to {high}"


def _resolves(water: Water) -> str:
    return f"this scale and sample tell {water.resolved:.2g} % of water from none, and no less"


def _as_dict(row: BatchRow, batch: Batch) -> dict[str, Any]:
    water = batch.water
    return {
        "name": row.name,
        "on": row.on.isoformat(),
        "origin": row.origin,
        "litres": row.litres,
        "accepted": _WORDS[batch.accepted()],
        "limits": [
            {
                "limit": judged.limit.key, "wanted": _wanted(judged.limit), "found": judged.found, "verdict": judged.verdict,
                "target_only": judged.limit.target, "source": judged.limit.source,
            }
            for judged in batch.judged()
        ],
        "water_percent": water and {"found": water.found, "from": water.lowest, "to": water.highest, "resolved": water.resolved},
        "viscosity_40_degc_mm2_s": {"likely": batch.curve.nu(40.0), "thick": batch.curve.thick(40.0)},
    }  # fmt: skip


def _label(row: BatchRow, batch: Batch) -> str:
    steps = ", ".join(f"{step:g}" for step in row.filter_um) or "not filtered"
    water = f"{_found((batch.water.lowest, batch.water.highest))} %" if batch.water else "not weighed"
    days = "not said" if row.settling_days is None else f"{row.settling_days:g} days"
    lines = [
        f"{row.on.isoformat()}, {row.litres:g} L, {row.origin}",
        f"settled {days}; filtered to {steps} um; water {water}",
        f"at 40 degC likely {batch.curve.nu(40.0):.0f} mm2/s, at worst {batch.curve.thick(40.0):.0f}",
    ]
    shown = "".join(f"<p>{text(line)}</p>" for line in lines)
    return oil_page.bare(
        row.name,
        f'<div class="label"><h1>{text(row.name)}</h1><p><b>{text(_WORDS[batch.accepted()].capitalize())}</b></p>{shown}'
        '<p class="small">Used vegetable oil for a heated second tank. Not food. Burns: no flame, no water on fire. Keep closed, '
        "dry, and out of drains. Tax on road fuel: local law.</p></div>",
    )


def _checked(model: type[Any], values: dict[str, Any]) -> Any:
    """The row, or the first thing wrong with it as InputError."""
    try:
        return model.model_validate(values)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        context = first.get("ctx", {})
        place = context.get("at") or ".".join(map(str, first["loc"]))
        raise InputError(
            place,
            context.get("found", first["input"]),
            context.get("wanted", first["msg"].lower().removeprefix("input should be ")),
        ) from None
