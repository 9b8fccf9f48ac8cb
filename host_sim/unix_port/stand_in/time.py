"""Virtual time in place of MicroPython's own: it goes on in sleeps only, and its ticks wrap as a board's do."""

from wires import PERIOD_MS, wires

_MASK = PERIOD_MS - 1
_HALF = PERIOD_MS >> 1


def ticks_ms() -> int:
    """Milliseconds, 0 to 2**30 - 1."""
    return wires.now_us // 1000 & _MASK


def ticks_us() -> int:
    """Microseconds, 0 to 2**30 - 1."""
    return wires.now_us & _MASK


def ticks_diff(later: int, earlier: int) -> int:
    """Signed distance of two ticks."""
    return ((later - earlier + _HALF) & _MASK) - _HALF


def ticks_add(tick: int, delta: int) -> int:
    """The tick so much later."""
    return (tick + delta) & _MASK


def sleep_ms(ms: int) -> None:
    """Let so much time go by."""
    wires.advance(1000 * ms)


def sleep_us(us: int) -> None:
    """Let so much time go by."""
    wires.advance(us)
