"""How long may the car stand before the oil is too cold to restart on? Newton's cooling, in integers, erring short."""

# 1000 * ln(1 + i / 4), rounded down; a straight line between two rows lies below the logarithm
_LN_PERMILLE = (0, 223, 405, 559, 693, 810, 916, 1011, 1098, 1178, 1252, 1321, 1386)
_STEP_PERMILLE = 250


def standing_min(oil_cdegc: int, ambient_cdegc: int, restart_cdegc: int, cooling_s: int) -> int:
    """Minutes until oil at `oil_cdegc` has cooled to `restart_cdegc`; 0 when it is there already.

    `cooling_s` is the time constant, 600 .. 30 000; worst case 30 000 * 1386 and 17 000 * 1000.
    """
    if oil_cdegc <= restart_cdegc:
        return 0
    if ambient_cdegc >= restart_cdegc - 100:
        ambient_cdegc = restart_cdegc - 100  # a summer car that never gets that cold: the span is capped below anyway
    ratio = (oil_cdegc - ambient_cdegc) * 1000 // (restart_cdegc - ambient_cdegc) - 1000
    row = ratio // _STEP_PERMILLE
    if row >= len(_LN_PERMILLE) - 1:
        ln_permille = _LN_PERMILLE[len(_LN_PERMILLE) - 1]
    else:
        rise = _LN_PERMILLE[row + 1] - _LN_PERMILLE[row]
        ln_permille = _LN_PERMILLE[row] + rise * (ratio - row * _STEP_PERMILLE) // _STEP_PERMILLE
    return cooling_s * ln_permille // 60000
