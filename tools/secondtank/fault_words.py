"""The fault catalogue in words, for its page in the docs and for the grid's page."""

from __future__ import annotations

from changeover import rows
from host_sim.catalogue import CATALOGUE, Entry
from host_sim.faults import KINDS
from host_sim.signals import ANALOG_NAMES, DIGITAL_NAMES, NTC_CHANNELS

_UNITS = {"suction": "kPa", "ambient_pressure": "kPa", "supply": "V", "oil_level": "of full", "diesel_level": "of full"}
_UNITS |= {ANALOG_NAMES[channel]: "degC" for channel in NTC_CHANNELS}
_CHANNEL_UNIT = KINDS["stuck"].size_unit
_DIFFERENCES = ("offset", "noise")

UNDETECTABLE = tuple(entry for entry in CATALOGUE if not entry.found_by and entry.diesel_s is None)
"""No row finds these out and no exit follows from them by itself: a margin or a hardware barrier covers them."""


def what_breaks(entry: Entry) -> str:
    """The kind in words, with its channel."""
    where = f"{entry.channel.replace('_', ' ')}: " if entry.channel else ""
    other = f" (the other: {entry.other.replace('_', ' ')})" if entry.other else ""
    return f"{where}{KINDS[entry.kind].does}{other}"


def size(entry: Entry) -> str:
    """The size with its unit; empty where the kind takes none."""
    unit = KINDS[entry.kind].size_unit
    if unit is None:
        return ""
    value = entry.fault(0).effective_size
    if entry.channel in DIGITAL_NAMES and unit == _CHANNEL_UNIT:
        return "on" if value else "off"
    if unit == _CHANNEL_UNIT:
        unit = _UNITS[str(entry.channel)]
        if entry.kind in _DIFFERENCES and unit == "degC":
            unit = "K"
    return f"{value:g} {unit}"


def lasts(entry: Entry) -> str:
    """How long the fault stays."""
    return "for good" if entry.duration_s is None else f"{entry.duration_s:g} s"


def found_by(entry: Entry) -> str:
    """The interlock rows that find it out."""
    return ", ".join(str(rows.TABLE[row][rows.NAME]) for row in entry.found_by)


def shows_when(entry: Entry) -> str:
    """From when its times count."""
    return f"{entry.shows}, in the trip in which it begins" if entry.in_trip else entry.shows


def seconds(value: float | None) -> str:
    """A time, or nothing."""
    return "" if value is None else f"{value:g} s"


def about(entry: Entry) -> str:
    """The fault in a line: what breaks, by how much, for how long."""
    return ", ".join(part for part in (what_breaks(entry), size(entry), lasts(entry)) if part)


def promises(entry: Entry) -> str:
    """What claim B says of it."""
    said = [f"on diesel within {entry.diesel_s:g} s"] if entry.diesel_s is not None else []
    said += [f"told within {entry.told_s:g} s"] if entry.told_s is not None else []
    if entry.may_pass:
        said.append(f"no hazard passes its limit, but for {', '.join(entry.may_pass)}")
    else:
        said.append("no hazard passes its limit")
    return "; ".join(said)


def many(number: int, thing: str) -> str:
    """So many of a thing."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"
