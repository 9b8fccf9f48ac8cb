"""The pages that a driver sees: driving, and the answer to "how long may it stand?". To be read in a second, in the dark."""

import panel_words as words
from changeover import messages, rows
from changeover.law import Law
from changeover.sensing import GOOD, OIL
from changeover.states import FILLING, ON_OIL, PARKED, PURGING, RUN_ON
from panel_canvas import COLUMNS, Canvas
from panel_font import DEGREE

_BAR_X, _BAR_COLUMNS = 32, 54
_HOT_CDEGC, _STRONG_PA = 11000, 40000  # where the bars end
_MESSAGE_PITCH = 8  # sixteen letters a line


def decimal(value: int, tenth: int) -> str:
    """`value` with one digit after the point, rounded down; `tenth`: how much of it is that digit's one."""
    tenths = value // tenth
    sign = "-" if tenths < 0 else ""
    return "%s%d.%d" % (sign, abs(tenths) // 10, abs(tenths) % 10)


def _columns(value: int, full: int) -> int:
    return min(max(value, 0), full) * _BAR_COLUMNS // full


def _says(canvas: Canvas, row: int, text: str, tall: int = 1) -> None:
    """A line of a message, in the middle."""
    canvas.text((COLUMNS - _MESSAGE_PITCH * len(text)) // 2 + 1, row, text, 1, tall, _MESSAGE_PITCH)


def driving(canvas: Canvas, law: Law, language: dict[int, tuple[str, str]]) -> None:
    """Fuel, oil temperature against what it needs, suction or how far a purge is, and one thing to do."""
    state = law.machine.state
    canvas.text(0, 0, _fuel(law), 2, 2)
    _oil(canvas, law, state)
    if state == FILLING:
        _volume(canvas, words.BARS[2], law.machine.lines.fill_ul, law.machine.lines.fill_target_ul)
    elif state == PURGING or state == RUN_ON:
        _volume(canvas, words.BARS[3], law.machine.lines.credit_ul, law.machine.lines.purge_target_ul)
    else:
        _suction(canvas, law)
    head, advice = language[law.panel.message]
    _says(canvas, 4, head, 2)
    for row, line in enumerate(advice.split("\n"), 6):
        _says(canvas, row, line)


def _fuel(law: Law) -> str:
    """The fuel that is drawn; parked, the one that stands in the lines. `>`: on its way. `?`: the valve is in doubt."""
    machine = law.machine
    state = machine.state
    oil = machine.lines_dirty if state == PARKED else state == FILLING or state == ON_OIL
    doubt = (law.interlocks.forced | law.interlocks.blocked) >> rows.SUPPLY_VALVE & 1
    moving = state == FILLING or state == PURGING or state == RUN_ON
    return ("?" if doubt else ">" if moving else "") + (words.OIL if oil else words.DIESEL)


def _oil(canvas: Canvas, law: Law, state: int) -> None:
    conditions = law.conditions
    on_oil = state == FILLING or state == ON_OIL
    least = conditions.limits.oil_exit if on_oil else conditions.limits.oil_entry
    canvas.text(0, 2, words.BARS[0])
    canvas.right(COLUMNS, 2, "%s %d%s" % (words.LEAST, least // 100, DEGREE))
    shown, part = "--", 0
    if law.inputs.channel[OIL].reason == GOOD:
        oil = law.inputs.channel[OIL].value if on_oil else law.inputs.oil_coldest()
        shown, part = "%d%s" % (oil // 100, DEGREE), _columns(oil, _HOT_CDEGC)
    canvas.right(COLUMNS, 0, shown, 2, 2)
    canvas.bar(_BAR_X, 2, _BAR_COLUMNS, part, _columns(least, _HOT_CDEGC))


def _suction(canvas: Canvas, law: Law) -> None:
    shown, part = "--", 0
    if law.inputs.suction_reason == GOOD:
        suction = law.inputs.suction_pa
        shown, part = decimal(suction, 100) + "kPa", _columns(suction, _STRONG_PA)
    canvas.text(0, 3, words.BARS[1])
    canvas.right(COLUMNS, 3, shown)
    canvas.bar(_BAR_X, 3, _BAR_COLUMNS, part, _columns(law.conditions.limits.suction_force, _STRONG_PA))


def _volume(canvas: Canvas, name: str, done_ul: int, target_ul: int) -> None:
    """Worst: 18 000 000 * 54."""
    canvas.text(0, 3, name)
    canvas.right(COLUMNS, 3, "%d %%" % (done_ul // (target_ul // 100)))
    canvas.bar(_BAR_X, 3, _BAR_COLUMNS, _columns(done_ul, target_ul), -1)


def stop(canvas: Canvas, law: Law, language: dict[int, tuple[str, str]]) -> None:
    """For how many minutes the car may stand as it is, or that it is to be purged first."""
    head, advice = language[law.panel.message]
    first, _, second = advice.partition("\n")
    _says(canvas, 0, head, 2)
    if law.panel.message == messages.STANDING:
        minutes = str(law.panel.advice_min)
        canvas.text((COLUMNS - 24 * len(minutes)) // 2 + 2, 2, minutes, 4, 4)
        _says(canvas, 6, first)
        _says(canvas, 7, second)
    else:
        _says(canvas, 3, first, 2)
        _says(canvas, 5, second, 2)
