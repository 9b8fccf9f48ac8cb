"""How long may the car stand before the oil is too cold to restart on? Newton's cooling, in integers, erring short."""

# 10 000 ln(1 + i / 10), rounded down; a straight line between two rows lies below the logarithm
_LN = (
    0, 953, 1823, 2623, 3364, 4054, 4700, 5306, 5877, 6418, 6931, 7419, 7884, 8329, 8754, 9162, 9555, 9932, 10296,
    10647, 10986, 11314, 11631, 11939, 12237, 12527, 12809, 13083, 13350, 13609, 13862,
)  # fmt: skip
_STEP, _ONE = 1000, 10000
_LAST = len(_LN) - 1


def standing_min(oil_cdegc: int, ambient_cdegc: int, restart_cdegc: int, cooling_s: int) -> int:
    """Minutes until oil at `oil_cdegc` has cooled to `restart_cdegc`; 0 when it is there already.

    `cooling_s` is the time constant, 600 .. 30 000; at most 1.38 of it is answered. Worst cases 17 000 * 10 000 and
    30 000 * 13 862.
    """
    if oil_cdegc <= restart_cdegc:
        return 0
    if ambient_cdegc > restart_cdegc - 100:
        ambient_cdegc = restart_cdegc - 100  # a summer day that never gets it so cold: the span is cut below anyway
    ratio = (oil_cdegc - ambient_cdegc) * _ONE // (restart_cdegc - ambient_cdegc)
    return cooling_s * _ln(ratio - _ONE) // (60 * _ONE)


def _ln(beyond_one: int) -> int:
    row = beyond_one // _STEP
    if row >= _LAST:
        return _LN[_LAST]
    return _LN[row] + (_LN[row + 1] - _LN[row]) * (beyond_one - row * _STEP) // _STEP
