"""Times, amounts and names as people read them; everything that came from outside is escaped here."""

from html import escape
from typing import Any

NOT_IN_LOG = "not in log"

# Integer units of the law by the ending of the name: factor to everyday units, decimals, unit.
_ENDINGS = (
    ("_cdegc", 0.01, 2, "°C"),
    ("_permille", 0.1, 1, "%"),
    ("_ul_s", 3.6e-3, 1, "L/h"),
    ("_ul", 1e-3, 1, "mL"),
    ("_pa", 1e-3, 2, "kPa"),
    ("_mv", 1e-3, 2, "V"),
    ("_ms", 1e-3, 1, "s"),
)


def text(value: Any) -> str:
    """Any value as escaped text; None is "not in log"; "degC" and "mm2/s" are written with their signs."""
    if value is None:
        return NOT_IN_LOG
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.4g}"
    return escape(str(value).replace(" degC", " °C").replace("mm2/s", "mm²/s"))


def breakable(name: str) -> str:
    """A long_name_with_underscores as escaped text that may wrap after each of them."""
    return text(name).replace("_", "_<wbr>")


def clock(t_s: float, tenths: bool = False) -> str:
    """Hours:minutes:seconds since start."""
    whole = round(t_s * 10) if tenths else round(t_s) * 10
    sign, whole = ("-", -whole) if whole < 0 else ("", whole)
    seconds, tenth = divmod(whole, 10)
    tail = f".{tenth}" if tenths else ""
    return f"{sign}{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}{tail}"


def duration(t_s: float | None) -> str:
    """A length of time in the two largest units that matter."""
    if t_s is None:
        return NOT_IN_LOG
    seconds = round(t_s)
    if seconds < 60:
        return f"{seconds} s"
    if seconds < 3600:
        return f"{seconds // 60} min" + (f" {seconds % 60} s" if seconds % 60 and seconds < 600 else "")
    return f"{seconds // 3600} h {seconds // 60 % 60} min"


def amount(value: float | None, unit: str, digits: int = 2) -> str:
    return NOT_IN_LOG if value is None else f"{value:.{digits}f} {unit}"


def everyday(name: str, value: int) -> str:
    """A setting in everyday units, by the ending of its name; empty where the name carries no unit."""
    for ending, factor, digits, unit in _ENDINGS:
        if name.endswith(ending):
            return f"{value * factor:.{digits}f} {unit}"
    return ""
