"""The firmware's trip log, and one as it might be written at first: its flaw must show in the power cuts."""

from journal import Journal


class RemovesFirst(Journal):
    """A block that grows is removed, then written anew."""

    def _write(self, number: int, data: bytes) -> bool:
        self._remove(number)
        return super()._write(number, data)
