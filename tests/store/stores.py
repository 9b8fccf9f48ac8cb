"""The board's store, and stores as one might write them at first: each has a flaw that the power cuts must show."""

import os

import store
from changeover import settings_file
from changeover.memory import Record, decode


def _read(path: str) -> bytes:
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError:
        return b""


class Sound:
    """The board's own, and what the flawed ones share with it."""

    def read_slots(self, folder: str) -> list[bytes]:
        return store.read_slots(folder)

    def write_slot(self, folder: str, index: int, data: bytes) -> bool:
        return store.write_slot(folder, index, data)

    def save_settings(self, folder: str, values: dict[str, int]) -> bool:
        return store.save_settings(folder, values)

    def load_settings(self, folder: str) -> tuple[dict[str, int], list[tuple[str, object, str, str]]]:
        return store.load_settings(folder)


class Unclosed(Sound):
    """Says "written" while the bytes are still in the file's buffer."""

    def __init__(self) -> None:
        self._open = {}

    def read_slots(self, folder: str) -> list[bytes]:
        return [_read(f"{folder}/slot.{index}") for index in (0, 1)]

    def write_slot(self, folder: str, index: int, data: bytes) -> bool:
        if index in self._open:
            self._open[index].close()
        self._open[index] = open(f"{folder}/slot.{index}", "wb")  # noqa: SIM115 - the flaw
        self._open[index].write(data)
        return True


class OneFile(Sound):
    """One file, removed and written anew; none at all is a new board, whose lines hold no oil."""

    def read_slots(self, folder: str) -> list[bytes]:
        record = decode(_read(folder + "/record"))
        if record is None:
            record = Record()
            record.oil_in_lines = False
        record.sequence -= 2
        return [record.encode(), record.encode()]

    def write_slot(self, folder: str, index: int, data: bytes) -> bool:
        if _read(folder + "/record"):
            os.remove(folder + "/record")
        with open(folder + "/record", "wb") as file:
            file.write(data)
        return True


class OneFolder(Sound):
    """Both slots in the same folder, so in the same sectors."""

    def read_slots(self, folder: str) -> list[bytes]:
        return [_read(f"{folder}/record/slot.{index}") for index in (0, 1)]

    def write_slot(self, folder: str, index: int, data: bytes) -> bool:
        if "record" not in os.listdir(folder):
            os.mkdir(folder + "/record")
        with open(f"{folder}/record/slot.{index}", "wb") as file:
            file.write(data)
        return True


class OneSlotWillDo(Sound):
    """A slot that is missing beside the other was never written."""

    def read_slots(self, folder: str) -> list[bytes]:
        return [_read(f"{folder}/record.{index}/slot") for index in (0, 1)]


class InPlace(Sound):
    """Settings written over the old ones in two steps, and whatever can be read is taken."""

    def save_settings(self, folder: str, values: dict[str, int]) -> bool:
        with open(folder + "/settings", "wb") as file:
            data = settings_file.encode(values)
            file.write(data[:1000])
            file.flush()
            file.write(data[1000:])
        return True

    def load_settings(self, folder: str) -> tuple[dict[str, int], list[tuple[str, object, str, str]]]:
        values, errors = settings_file.decode(_read(folder + "/settings"))
        return values, [] if values else errors
