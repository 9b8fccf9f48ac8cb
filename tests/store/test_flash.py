"""The flash stand-in itself: what its operations do to bytes, which torn states it makes, and that those find something."""

from __future__ import annotations

import zlib
from collections import Counter

import pytest

from tests.store.flash import ERASED, PAGE_BYTES, SECTOR_BYTES, Dice, Flash, cuts

ERASE, COUNT, SIZE = 6, 4, 5


def test_program_clears_bits_and_only_an_erase_sets_them() -> None:
    flash = Flash(ERASED * 3)
    assert (flash.ioctl(COUNT, 0), flash.ioctl(SIZE, 0)) == (3, SECTOR_BYTES)
    flash.writeblocks(1, b"\xf0" * PAGE_BYTES, PAGE_BYTES)
    assert flash.over == 0
    flash.writeblocks(1, b"\x3c" * PAGE_BYTES, PAGE_BYTES)
    assert flash.over == 1
    page = bytearray(PAGE_BYTES)
    flash.readblocks(1, page, PAGE_BYTES)
    assert page == b"\x30" * PAGE_BYTES
    assert flash.image.count(0x30) == PAGE_BYTES
    flash.ioctl(ERASE, 1)
    assert flash.image == ERASED * 3
    with pytest.raises(ValueError, match="by pages"):
        flash.writeblocks(0, b"\x00" * 32, 0)


def test_refusal_changes_nothing_and_heals() -> None:
    flash = Flash(ERASED)
    flash.refuse(after=1, times=2)
    answers = [flash.writeblocks(0, bytes(PAGE_BYTES), PAGE_BYTES * page) for page in range(2)]
    answers += [flash.ioctl(ERASE, 0), flash.writeblocks(0, bytes(PAGE_BYTES), PAGE_BYTES * 3)]
    assert answers == [0, -5, -5, 0]
    written = [page for page in range(16) if flash.image[page * PAGE_BYTES] == 0]
    assert written == [0, 3]
    assert [at for at, _, _ in flash.log] == [0, 3 * PAGE_BYTES]


def test_torn_program_lies_bit_by_bit_between_before_and_after() -> None:
    dice = Dice(1)
    image = bytearray(ERASED * 2)
    new = bytes(dice.byte() for _ in range(2 * PAGE_BYTES))
    at = SECTOR_BYTES + PAGE_BYTES
    made = list(cuts(image, at, new, True, dice))
    assert Counter(how for how, _, _ in made) == {"byte": 512, "scattered": 2, "spoilt": 3 + 4}
    for number, (how, first, state) in enumerate(made[:512]):
        assert (how, first, len(state)) == ("byte", at, 512)
        assert state[:number] == new[:number]
        assert state[number] & new[number] == new[number]
        assert set(state[number + 1 :]) <= {0xFF}
    for how, first, state in made[512:]:
        whole = bytearray(image)
        whole[first : first + len(state)] = state
        assert len(whole) == len(image)
        assert whole[:SECTOR_BYTES] == ERASED, "another sector"
        if how == "scattered":
            assert all(byte & wanted == wanted for byte, wanted in zip(state, new, strict=True))
            assert state not in (new, ERASED[:512])


def test_torn_erase_leaves_its_sector_only_and_eight_different_states() -> None:
    old = bytes(Dice(2).byte() for _ in range(SECTOR_BYTES))
    made = list(cuts(bytearray(old), 0, b"", False, Dice(3)))
    assert {(how, first, len(state)) for how, first, state in made} == {("erase", 0, SECTOR_BYTES)}
    assert len({state for _, _, state in made} | {old, ERASED}) == 10


def page(number: int) -> bytes:
    """A log's entry that says "oil in the lines", with a checksum at its end."""
    body = bytes([number]) + b"oil" + bytes(32)
    return (body + zlib.crc32(body).to_bytes(4, "little")).ljust(PAGE_BYTES, b"\xff")


def forgets(image: bytes, checked: bool) -> bool:
    """Does the last entry (the last whole one if `checked`) say otherwise? Every entry said oil."""
    entries = [image[at : at + PAGE_BYTES] for at in range(0, SECTOR_BYTES, PAGE_BYTES)]
    begun = [entry for entry in entries if entry[0] != 0xFF and (not checked or entry == page(entry[0]))]
    return begun[-1][1:4] != b"oil"


def test_unchecked_log_forgets_when_writes_are_torn_and_never_when_they_are_whole() -> None:
    flash = Flash(ERASED)
    for number in range(1, 4):
        flash.writeblocks(0, page(number), number * PAGE_BYTES)
    image = bytearray(ERASED)
    image[PAGE_BYTES : 2 * PAGE_BYTES] = page(1)
    found: Counter[tuple[str, bool]] = Counter()
    for at, data, _ in flash.log[1:]:
        for checked in (False, True):
            found["whole", checked] += forgets(bytes(image), checked)
            for how, first, state in cuts(image, at, data, True, Dice(4)):
                torn = bytearray(image)
                torn[first : first + len(state)] = state
                if how != "spoilt":
                    found["torn", checked] += forgets(bytes(torn), checked)
        image[at : at + PAGE_BYTES] = data
    assert image == flash.image
    assert found["torn", False] > 2
    assert found["whole", False] == found["whole", True] == found["torn", True] == 0
