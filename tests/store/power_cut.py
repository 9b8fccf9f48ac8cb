"""Power cuts on littlefs: each write of a story is cut at many points, and each time a restart is judged. MicroPython only.

    micropython power_cut.py FIRMWARE STORY STORE [JOURNAL]

plays STORY through STORE (a class of `stores`) and JOURNAL (the firmware's, else a class of `journals`) on the flash stand-in
and prints what was counted as JSON.
What a cut leaves depends on nothing but the operations before it. So a story is played once; its operations are recorded,
each with what its clients' restarts may answer at that instant; then every cut is made from the record. A client has
`boot`, `expects`, `judge` and `resume`; a further one joins in `Board.clients`.
"""
# pyright: reportMissingImports=false, reportAttributeAccessIssue=false

import json
import sys

import vfs

sys.path.insert(0, sys.argv[1])
sys.path.insert(0, __file__[: __file__.rfind("/")])
import journals
import stores
from flash import ERASED, PAGE_BYTES, SECTOR_BYTES, Dice, Flash, cuts, programmed

from changeover import settings_file
from changeover.memory import choose
from changeover.settings import defaults
from journal_ring import ROWS_A_BLOCK

FOLDER = "/flash"
SECTORS = 20
_NONE = -1  # no settings, and the board says so
_LOG_SETTINGS = {"flow_measured_ul_s": 8000}
_LOG_BLOCKS = 2


class RecordClient:
    """The record by the law's protocol: `write(True)` before oil may be let in, `write(False)` after a whole purge."""

    def __init__(self, store: stores.Sound) -> None:
        self.store = store
        self.may_hold_oil = True  # a new board knows nothing of the lines
        self.answers = {(True, 0)}  # oil in the lines, trips: what a restart may say
        self.begun = set()  # slots; one alone does not say that the lines are clean

    def boot(self) -> None:
        slots = self.store.read_slots(FOLDER)
        self.record = choose(slots)
        self.begun = set() if slots == [b"", b""] else {0, 1}  # beside a damaged one the next write mends it

    def resume(self, before: "RecordClient", expected: tuple[bool, set[tuple[bool, int]]]) -> None:
        """After a cut: the lines are as they were, and the answer that was found stays."""
        self.may_hold_oil = expected[0]
        self.answers = {(self.record.oil_in_lines, self.record.trips)}

    def write(self, oil: bool) -> bool:
        record = self.record
        record.oil_in_lines = oil
        record.trips += 1
        if not oil:
            self.may_hold_oil = False
        either = self.answers | {(oil, record.trips)}
        self.answers = either | {(True, trips) for _, trips in either}  # a slot that was begun and is not whole: oil
        data = record.encode()
        self.begun.add(record.slot())
        written = self.store.write_slot(FOLDER, record.slot(), data)
        if written:
            self.answers = {(oil or len(self.begun) < 2, record.trips)}
            self.may_hold_oil = oil
        else:
            record.refused()
        return written

    def expects(self) -> tuple[bool, set[tuple[bool, int]]]:
        return self.may_hold_oil, self.answers

    def judge(self, expected: tuple[bool, set[tuple[bool, int]]], spoilt: bool) -> str:
        """Beside a spoilt sector the record may be an older one, but no oil may be forgotten."""
        record = choose(self.store.read_slots(FOLDER))
        said = (record.oil_in_lines, record.trips)
        if expected[0] and not record.oil_in_lines:
            return "forgot oil in the lines"
        if said not in expected[1] and not spoilt:
            return "a record that was not there"
        return "oil" if record.oil_in_lines else "diesel"


class SettingsClient:
    """Settings saved anew: a restart finds the old ones or the new ones, whole."""

    def __init__(self, store: stores.Sound) -> None:
        self.store = store
        self.sets = []  # all that were ever given to `save`
        self.answers = {_NONE}  # which of them a restart may find

    def boot(self) -> None:
        values, errors = self.store.load_settings(FOLDER)
        self.found = None if errors else values

    def resume(self, before: "SettingsClient", expected: set[int]) -> None:
        self.sets = list(before.sets)
        self.answers = {_NONE if self.found is None else self.sets.index(self.found)}

    def save(self) -> bool:
        number = len(self.sets)
        self.sets.append({name: value + number for name, value in defaults().items()})
        self.answers = self.answers | {number}
        saved = self.store.save_settings(FOLDER, self.sets[number])
        if saved:
            self.answers = {number}
        return saved

    def expects(self) -> set[int]:
        return self.answers

    def judge(self, expected: set[int], spoilt: bool) -> str:
        """Beside a spoilt sector they may also be refused, or whole ones of an earlier day."""
        values, errors = self.store.load_settings(FOLDER)
        if errors:
            return "refused" if spoilt or _NONE in expected else "lost the settings"
        if values not in self.sets:
            return "a mix of settings"
        number = self.sets.index(values)
        if number in expected:
            return "new" if number == max(expected) else "old"
        return "older" if spoilt and number < max(expected) else "settings that were not there"


class JournalClient:
    """The trip log: numbered lines, some at a time, in a ring so small that it goes round. Each block's totals say how far."""

    def __init__(self, kind: type) -> None:
        self.kind = kind
        self.kept = ()  # every number that reached flash, those that the ring has dropped since included
        self.coming = ()  # those that are being written
        self.totals = {0}
        self.damaged = 0  # blocks that earlier cuts spoilt

    def _look(self) -> tuple:
        """(numbers, how often not a whole block, how far the totals go): what a restart reads."""
        journal = self.kind(FOLDER, _LOG_SETTINGS, _LOG_BLOCKS)
        numbers, damaged = [], 0
        for line in journal.read():
            if line[0] == "X":
                damaged += 1
            elif line[0] in "MST" and "start" not in line:
                word = line.split(",")[2]
                numbers.append(int(word) if line[0] == "T" and word.isdigit() else _NONE)
        return tuple(numbers), damaged, journal.totals.trips

    def boot(self) -> None:
        self.journal = self.kind(FOLDER, _LOG_SETTINGS, _LOG_BLOCKS)
        self.kept, self.damaged, trips = self._look()
        self.totals = {trips}
        self.queue = [0]  # rows that wait: the journal's own word of the start is no number
        self.last = max(self.kept) if self.kept else 0

    def resume(self, before: "JournalClient", expected: tuple) -> None:
        """After a cut: what `boot` found is what there is."""

    def keep(self, lines: int) -> bool:
        journal = self.journal
        for _ in range(lines):
            self.last += 1
            journal.note(str(self.last))
            self.queue.append(self.last)
        while journal.waiting:
            journal.totals.trips = self.last
            self.coming = tuple(number for number in self.queue if number)
            self.totals.add(self.last)
            count = journal.flush()
            if not count:
                return False
            self.kept += tuple(number for number in self.queue[:count] if number)
            self.queue = self.queue[count:]
            self.coming = ()
            self.totals = {self.last}
        return True

    def expects(self) -> tuple:
        return self.kept, self.coming, set(self.totals), self.damaged

    def judge(self, expected: tuple, spoilt: bool) -> str:
        """The log ends with what was kept, or with some more of what was being written; the ring leaves a whole block at
        least. Beside a spoilt sector blocks may be missing or older, but no line may be there that never was."""
        kept, coming, totals, damaged = expected
        numbers, broken, trips = self._look()
        full = kept + coming
        if spoilt:
            rest = iter(full)
            if not all(number in rest for number in numbers):
                return "a log line that was not there"
            return "log" if trips <= max(totals) else "totals that were not there"
        if trips not in totals:
            return "totals that were not there"
        if broken > damaged:
            return "lost a log block"
        ends = range(len(kept), len(full) + 1)
        if len(numbers) < min(len(kept), ROWS_A_BLOCK - 1):
            return "lost log lines"
        if not any(full[end - len(numbers) : end] == numbers for end in ends if end >= len(numbers)):
            return "a log line that was not there"
        return "log"


class Board:
    """A board with this flash."""

    def __init__(self, flash: Flash, store: stores.Sound, kind: type) -> None:
        self.flash, self.store, self.kind = flash, store, kind
        self.record, self.settings, self.journal = RecordClient(store), SettingsClient(store), JournalClient(kind)
        self.clients = [self.record, self.settings, self.journal]
        self.refused = self.formatting = 0
        flash.watch = self.expects

    def expects(self) -> list:
        return [client.expects() for client in self.clients]

    def on(self) -> None:
        """As MicroPython starts on this board (ports/rp2/modules/_boot.py): what cannot be mounted is formatted."""
        try:
            mounted = vfs.VfsLfs2(self.flash, progsize=PAGE_BYTES)
        except OSError:
            vfs.VfsLfs2.mkfs(self.flash, progsize=PAGE_BYTES)
            self.formatting = len(self.flash.log)
            mounted = vfs.VfsLfs2(self.flash, progsize=PAGE_BYTES)
        vfs.mount(mounted, FOLDER)
        for client in self.clients:
            client.boot()

    def forget(self) -> None:
        """What was done so far is not to be cut."""
        self.flash.log = []
        self.refused = self.formatting = 0

    def off(self) -> None:
        vfs.umount(FOLDER)

    def write(self, oil: bool) -> None:
        self.refused += not self.record.write(oil)

    def save(self) -> None:
        self.refused += not self.settings.save()

    def keep(self, lines: int) -> None:
        self.refused += not self.journal.keep(lines)

    def trip(self) -> None:
        """Announced; parked on oil; purged after the next start."""
        for oil in (True, True, False):
            self.write(oil)

    def use(self) -> None:
        """All that a board writes."""
        self.trip()
        self.save()
        self.keep(16)
        self.write(True)


class Judge:
    """Cuts what a board did, restarts, counts the answers. `programmed` bytes, `erased` times a sector: what was cut."""

    def __init__(self) -> None:
        self.dice = Dice(7)
        self.cuts = {}
        self.answers = {}
        self.unmountable = {}
        self.failures = {}
        self.refused = self.programmed = self.used_again = self.over = 0
        self.erased = {}
        self.second = False  # a board that is used again

    def sweep(self, image: bytes, board: Board, every_byte: bool, again: int) -> None:
        """`image`: the flash before all that is in the board's log. `again`: after each so many cuts the board is used on,
        and that is cut as well."""
        log = board.flash.log
        now = Flash(image)
        for number in range(len(log)):
            at, data, expected = log[number]
            self.restart(now, board, expected, "between", number, again)
            for how, first, state in cuts(now.image, at, data, every_byte, self.dice):
                kept = bytes(now.image[first : first + len(state)])
                now.image[first : first + len(state)] = state
                self.restart(now, board, expected, how, number, again)
                now.image[first : first + len(state)] = kept
            end = at + (len(data) or SECTOR_BYTES)
            now.image[at:end] = programmed(bytes(now.image[at:end]), data) if data else ERASED
            if not self.second:
                self.programmed += len(data)
                if not data:
                    count(self.erased, str(at // SECTOR_BYTES))
        self.restart(now, board, board.expects(), "between", len(log), again)
        assert now.image == board.flash.image, "what was cut is not what was played"

    def restart(self, now: Flash, board: Board, expected: list, how: str, number: int, again: int) -> None:
        count(self.cuts, "again" if self.second else how)
        try:
            vfs.mount(vfs.VfsLfs2(now, progsize=PAGE_BYTES), FOLDER)
            mounted = True
        except OSError:
            mounted = False  # the board formats, and the clients find no file
            count(self.unmountable, "formatting" if number < board.formatting else how)
        for index, client in enumerate(board.clients):
            answer = client.judge(expected[index], how == "spoilt")
            count(self.answers, answer)
            if " " in answer:
                count(self.failures, f"{how}: {answer}")
        if mounted:
            vfs.umount(FOLDER)
        assert not now.log, "looking wrote to flash"
        if again and sum(self.cuts.values()) % again == 0:
            self.use_again(bytes(now.image), board, expected, how)

    def use_again(self, image: bytes, before: Board, expected: list, how: str) -> None:
        self.used_again += 1
        board = resumed(image, before, expected)
        board.use()
        board.off()
        if board.refused:
            count(self.failures, f"{how}: refused to write afterwards")
        self.second = True
        self.sweep(image, board, False, 0)
        self.second = False


def count(counts: dict[str, int], name: str) -> None:
    counts[name] = counts.get(name, 0) + 1


# Stories: what happens before the cuts, and what is cut.


def nothing(board: Board) -> None:
    pass


def used(board: Board) -> None:
    """A board in use, with program files beside."""
    board.on()
    for number in range(6):
        with open(f"{FOLDER}/part{number}.py", "wb") as file:
            file.write(b"# program\n" * 40)
    for _ in range(6):
        board.trip()
    board.save()


def fill() -> None:
    """Until no sector and no entry is free."""
    number = 0
    for size in (4000, 600, 10):
        try:
            while True:
                with open(f"{FOLDER}/log{number}", "wb") as file:
                    file.write(bytes(size))
                number += 1
        except OSError:
            pass


def full(board: Board) -> None:
    used(board)
    fill()


def new_and_full(board: Board) -> None:
    board.on()
    fill()


def first_day(board: Board) -> None:
    """From a new chip on. The settings come late, so that a folder is made while there is oil in the lines."""
    board.on()
    board.write(False)
    board.write(True)
    board.save()
    board.trip()
    board.use()


def few_trips(board: Board) -> None:
    for _ in range(3):
        board.trip()
        board.save()


def nearly_worn(board: Board) -> None:
    """littlefs moves a folder after 100 erases of its sectors (block_cycles, extmod/vfs_lfsx.c), here some trips later."""
    used(board)
    for _ in range(1040):
        board.trip()
        board.forget()


def forty_trips(board: Board) -> None:
    for _ in range(40):
        board.trip()


def logs(board: Board) -> None:
    """Until the ring has gone round."""
    for lines in (5, 90, 60, 120, 130):
        board.keep(lines)
    for _ in range(10):
        board.keep(2)


def saves(board: Board) -> None:
    board.save()
    board.save()


def use_often(board: Board) -> None:
    for _ in range(6):
        board.use()


# What goes before, what is cut (None: see `refusals`), at every byte?, after how many cuts is the board used again?
STORIES = {
    "first_day": (nothing, first_day, True, 600),
    "few_trips": (used, few_trips, True, 1000),
    "worn": (nearly_worn, forty_trips, False, 200),
    "full": (full, use_often, False, 0),
    "new_and_full": (new_and_full, use_often, False, 0),
    "refused": (used, None, False, 0),
    "saves": (used, saves, False, 0),
    "logs": (used, logs, False, 0),
    "forty_trips": (used, forty_trips, False, 0),
}


def resumed(image: bytes, before: Board, expected: list) -> Board:
    """Another board with this flash, switched on: it takes up what `before` left."""
    board = Board(Flash(image), before.store, before.kind)
    board.on()
    for index, client in enumerate(board.clients):
        client.resume(before.clients[index], expected[index])
    return board


def refusals(judge: Judge, image: bytes, before: Board) -> None:
    """Flash that refuses from the n-th operation on, once or for good; then a restart with sound flash."""
    for times in (1, 1 << 20):
        for after in range(15):
            board = resumed(image, before, before.expects())
            board.flash.refuse(after, times)
            board.use()
            board.off()
            judge.sweep(image, board, False, 0)
            judge.refused += board.refused
            mended = resumed(bytes(board.flash.image), board, board.expects())
            mended.use()
            mended.off()
            judge.sweep(bytes(board.flash.image), mended, False, 0)
            if mended.refused:
                count(judge.failures, "refused: refused to write afterwards")


def remember_decoded() -> None:
    """Reading settings is slow and always the same for the same bytes."""
    decode, seen = settings_file.decode, {}

    def remembered(data: bytes) -> tuple:
        if data not in seen:
            seen[data] = decode(data)
        return seen[data]

    settings_file.decode = remembered


def main() -> None:
    remember_decoded()
    before, story, every_byte, again = STORIES[sys.argv[2]]
    kind = getattr(journals, sys.argv[4] if len(sys.argv) > 4 else "Journal")
    if sys.argv[3] != "Sound" or kind is not journals.Journal:
        again = 0  # one failure is enough
    judge = Judge()
    flash = Flash(ERASED * SECTORS)
    board = Board(flash, getattr(stores, sys.argv[3])(), kind)
    before(board)
    board.forget()
    image = bytes(flash.image)
    if story is None:
        board.off()
        refusals(judge, image, board)
    else:
        story(board)
        board.off()
        judge.refused = board.refused
        judge.sweep(image, board, every_byte, again)
    judge.over += flash.over
    print(json.dumps({name: getattr(judge, name) for name in judge.__dict__ if name not in ("dice", "second")}))


main()
