"""The verb `oil`: from a cup or two of oil to the temperatures at which the law may use it."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from host_sim.errors import InputError
from host_sim.flow_cups import cup_named
from host_sim.oil_curve import (
    Family,
    InconsistentReadings,
    OilCurve,
    Reading,
    cup_reading,
    family_named,
    from_family,
    from_readings,
    lab_point,
    with_diesel,
)
from host_sim.oil_settings import TooThick
from secondtank import oil_words
from secondtank.drive import folder_of
from secondtank.oil_answer import Oil, OilAnswer, answer, blend_of
from secondtank.oil_settings_file import base_settings, write_settings

RAN, NOT_VALID = 0, 4


@dataclass(frozen=True)
class Measured:
    """Readings as they were typed: points "40=36.2"; cups with their seconds "57,57.6,56.8" and temperatures "21.5"."""

    points: tuple[str, ...] = ()
    cups: tuple[str, ...] = ()
    seconds: tuple[str, ...] = ()
    at: tuple[str, ...] = ()


@dataclass(frozen=True)
class Out:
    """Where the answer goes: the folder, a settings file, JSON instead of words; and which settings it starts from."""

    folder: Path
    write: Path | None
    as_json: bool
    settings: str | None
    limit_mm2_s: float


@dataclass(frozen=True)
class OilOrder:
    """What the command line asks for."""

    measured: Measured
    family: str
    fresh: bool
    blend: str | None
    out: Out


def run_oil(order: OilOrder) -> int:
    """Answer, and write where asked; returns the exit status. Raises InputError."""
    diesel = blend_of(order.blend)
    family = family_named(order.family)
    try:
        readings = readings_of(order.measured)
        oil, evidence = curve_of(readings, family, order.fresh)
        title = ("Fresh " if order.fresh else "Used ") + family.name + " oil"
        if diesel:
            title += f" with {100 * diesel:g} % diesel"
            evidence.append(f"{100 * diesel:g} % diesel by volume, a temperate grade")
        return tell(title, Oil(with_diesel(oil, diesel), family, tuple(readings), tuple(evidence)), order.out)
    except (InconsistentReadings, TooThick) as error:
        return not_valid(error)


def not_valid(error: InputError) -> int:
    """The input is well formed, and no answer follows from it."""
    print(f"secondtank: not valid: {error}", file=sys.stderr)
    return NOT_VALID


def readings_of(measured: Measured) -> list[Reading]:
    """Points, then cups. Raises InputError."""
    readings = [_point(word) for word in measured.points]
    cups, seconds, at = measured.cups, measured.seconds, measured.at
    if len(cups) == 1 and len(seconds) > 1:  # one cup: --seconds may also be repeated for its runs
        seconds = (",".join(seconds),)
        at = (",".join(at),)
    if not len(cups) == len(seconds) == len(at):
        found = f"{len(cups)} --cup, {len(seconds)} --seconds, {len(at)} --at"
        raise InputError("cup readings", found, "one --seconds (its runs, as 57,57.6,56.8) and one --at for each --cup")
    for cup, runs, temperatures in zip(cups, seconds, at, strict=True):
        readings.append(cup_reading(cup_named(cup), _numbers("--seconds", runs), _numbers("--at", temperatures)))
    return readings


def curve_of(readings: Sequence[Reading], family: Family, fresh: bool) -> tuple[OilCurve, list[str]]:
    """The curve, and what it was made from in words. Raises InconsistentReadings."""
    if not readings:
        kind = "fresh" if fresh else "used: at worst as thick as old frying oil"
        return from_family(family.name, not fresh), [f"kind of oil alone: {family.name}, {kind} ({family.source})"]
    evidence = [
        f"{reading.text}: {reading.nu_mm2_s:.1f} mm2/s, to {100 * reading.tolerance:.0f} %" for reading in readings
    ]
    if len(readings) == 1:
        evidence.append("one reading, and the slope of vegetable oils: a second one, warmer, would narrow the band")
    return from_readings(readings), evidence


def tell(title: str, oil: Oil, out: Out) -> int:
    """Work out, write, print. Raises InputError, TooThick, before anything is written."""
    found = answer(title, oil, base_settings(out.settings, out.write), out.limit_mm2_s)
    written = [f"settings: {line}" for line in write_settings(out.write, found.plan.settings)] if out.write else []
    folder = folder_of(out.folder)
    write_answer(folder, found)
    if out.as_json:
        print(json.dumps(found.as_dict(), indent=2))
    else:
        print(oil_words.as_text(found, written + ([f"{out.write} written"] if out.write else [])))
        print(f"  {folder / 'oil.html'}")
    return RAN


def write_answer(folder: Path, found: OilAnswer) -> None:
    """Page, picture and JSON."""
    (folder / "oil.html").write_text(oil_words.as_page(found), encoding="utf-8")
    (folder / "oil.svg").write_text(oil_words.as_svg(found), encoding="utf-8")
    (folder / "oil.json").write_text(json.dumps(found.as_dict(), indent=2) + "\n", encoding="utf-8")


def _point(word: str) -> Reading:
    degc, _, mm2_s = word.partition("=")
    try:
        return lab_point(float(degc), float(mm2_s))
    except ValueError:
        raise InputError("--point", word, "DEGC=MM2_S, as 40=36.2") from None


def _numbers(place: str, word: str) -> list[float]:
    try:
        return [float(part) for part in word.split(",")]
    except ValueError:
        raise InputError(place, word, "numbers with commas between them, as 57,57.6,56.8") from None
