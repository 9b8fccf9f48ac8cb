"""Everything of the program but hardware and time: one `tick` after the other, on a board or on anything that acts like one.

The order of a tick: read all, step, write all, remember, then what may take its time: flash, link, log, display.
"""

import gc

import causes
import last_words
import store
from changeover.law import Law
from changeover.memory import choose
from changeover.settings import defaults
from changeover.states import STATES
from changeover.validate import validate
from journal import Journal
from link import Link
from panel import DRIVING, Panel
from service import Service

TYPE_CHECKING = False
if TYPE_CHECKING:
    from board_pico import Board

_NUMBER_MASK = 0x3FFFFFFF
# In a round of ten ticks these have places of their own, so that no tick does all of it.
_ROUND, _DRAW, _COLLECT = 10, 4, 8


class App:
    """`board`: see `board_pico.Board`; `folder`: where flash is. `values`: the settings in force, `valid` what was found of them;
    `late`: ticks that began after their time."""

    def __init__(self, board: "Board", folder: str) -> None:
        self.board = board
        self.folder = folder
        values, errors = store.load_settings(folder)
        self.valid = not errors and not validate(values)
        self.values = defaults()
        if self.valid:
            self.values.update(values)  # the names stay those of the table: a second set of them would take 4 KB
        board.hold_percent = self.values["valve_hold_percent"]
        record = choose(store.read_slots(folder))
        record.boots = (record.boots + 1) & _NUMBER_MASK
        self.law = Law(self.values, record, self.valid, causes.unexpected(board.cause()))
        self.journal = Journal(folder, self.values)
        self.panel = Panel(self.values, self.journal)
        self.service = Service(self)
        self.link = Link(self)
        self.now_ms = 0
        self.ticks = 0
        self.late = 0
        self._answer_due = False  # a record was written; the law hears of it at the end of the next tick
        self._stored = False
        # A line of bench input and a question; 511 more wait in the chip (MicroPython, ports/rp2/mphalport.c).
        self._came = bytearray(128)
        self._going = b""  # what the link said and the port has not taken yet
        self._tell_start()

    def _tell_start(self) -> None:
        board = self.board
        if board.cause() != causes.POWER_ON:
            text = "%s; %s, tick %d" % (causes.TEXTS[board.cause()], STATES[board.last_state % 6], board.last_tick)
            self.journal.note(text)
        said = last_words.take(self.folder)
        if said:
            self.journal.note(said[-90:])

    def tick(self, now_ms: int) -> None:
        """One tick at `now_ms` of the board's clock."""
        board, law = self.board, self.law
        self.now_ms = now_ms
        board.read()
        self.service.step(now_ms)
        law.step(now_ms, board.counts, board.levels)
        driving = self.link.bench.step(now_ms)
        board.masked = driving is not law
        board.write(driving)
        self.ticks = (self.ticks + 1) & _NUMBER_MASK
        board.remember(law.machine.state, self.ticks)
        self.journal.tick(law, now_ms)
        if not self._keep_record():
            self._keep_journal()
        self._talk(now_ms)
        self._draw(driving)

    def _keep_record(self) -> bool:
        """Write the record that the law wants, at once, and tell it a tick later, when it has read its inputs after the pause."""
        law = self.law
        if self._answer_due:
            self._answer_due = False
            law.written(self._stored)
            return True
        if not law.machine.write_wanted:
            return False
        data = law.write_record()
        law.conditions.lateness.excused = True
        self._stored = store.write_slot(self.folder, law.record.slot(), data)
        self._answer_due = True
        return True

    def _keep_journal(self) -> None:
        law, journal = self.law, self.journal
        if journal.due(law):
            law.conditions.lateness.excused = True
            journal.flush()
        law.keep_awake = journal.keeps_awake()

    def _talk(self, now_ms: int) -> None:
        board, link = self.board, self.link
        count = board.serial_read(self._came)
        if count:
            link.take(memoryview(self._came)[:count])
        link.tick(now_ms)
        if self.ticks % _ROUND == _COLLECT:
            return  # that takes a quarter of the tick
        if not self._going:
            room = board.serial_room()
            if not room:
                return
            self._going = link.poll(room)
        if self._going:
            self._going = self._going[board.serial_write(self._going) :]

    def _draw(self, law: Law) -> None:
        place = self.ticks % _ROUND
        if place == _COLLECT:
            gc.collect()
        else:
            self.panel.step(law, self.panel.page if self.service.active else DRIVING, place == _DRAW)
        self.board.show(self.panel.buffer)
