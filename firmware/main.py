"""The program of the board: a tick every 100 ms at absolute times, the watchdog fed after a whole one, and every way out ends on
diesel. On the board MicroPython runs this file by itself.
"""

from board_pico import Board
from causes import FAULT, INTERRUPTED, NOT_LOADED
from changeover.ticks import ticks_add, ticks_diff

TICK_MS = 100
_FLASH = "."  # the board's file system


def run(board: Board) -> None:
    """Ticks without end."""
    from app import App  # here, so that a file that is missing or broken ends as every other fault does

    program = App(board, _FLASH)
    due_ms = board.ticks_ms()
    while True:
        program.tick(board.ticks_ms())
        board.feed()
        due_ms = ticks_add(due_ms, TICK_MS)
        behind_ms = ticks_diff(board.ticks_ms(), due_ms)
        if behind_ms > 0:
            program.late += 1
            if behind_ms >= TICK_MS:  # what is lost is not made up for by a burst of ticks
                due_ms = ticks_add(due_ms, (behind_ms // TICK_MS + 1) * TICK_MS)
        board.wait(due_ms)


def give_up(board: Board, cause: int, error: BaseException) -> None:
    """All off, say why, restart. A host may stop a program that does not run, or that is not watched yet: then it stays stopped."""
    board.off()
    if not board.watched() and cause == INTERRUPTED:
        return
    board.complain(cause)
    try:
        import last_words

        last_words.keep(_FLASH, error)
    finally:
        if cause == NOT_LOADED and not board.watched():
            for _ in range(8):
                board.complain(cause)  # the window in which a host may copy what is missing
        board.restart(cause)


def main() -> None:
    """Run; whatever ends it ends here."""
    board = Board()
    try:
        run(board)
    except KeyboardInterrupt as error:
        give_up(board, INTERRUPTED, error)
    except (ImportError, SyntaxError) as error:
        give_up(board, NOT_LOADED, error)
    except BaseException as error:
        give_up(board, FAULT, error)


if __name__ == "__main__":
    main()
