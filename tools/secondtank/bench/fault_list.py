"""The fault catalogue at hand: search it, break one by a key, see how soon the board finds out, heal it."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from nicegui import ui

from changeover import rows
from host_sim.catalogue import CATALOGUE, Entry
from host_sim.faults import KINDS
from secondtank.bench.stand import NOT_HERE, Broken

if TYPE_CHECKING:
    from secondtank.bench.page import Page


def matching(text: str) -> list[Entry]:
    """Entries that hold every word, in the catalogue's order; those that the bench can show first."""
    wanted = text.lower().split()
    found = [entry for entry in CATALOGUE if all(word in _told(entry).lower() for word in wanted)]
    return sorted(found, key=lambda entry: entry.kind in NOT_HERE)


def _told(entry: Entry) -> str:
    finds = ", ".join(rows.TABLE[row][rows.NAME] for row in entry.found_by)
    return f"{entry.id} {KINDS[entry.kind].does} {finds}"


class FaultList:
    """The first nine that the search finds have the keys 1 to 9."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._session = page.session
        self._shown: list[Entry] = []
        ui.html("Break something", tag="h2", sanitize=False)
        ui.html(
            '<p class="soft">On bench input only. <kbd>f</kbd> searches, <kbd>1</kbd> to <kbd>9</kbd> break and heal, '
            "<kbd>h</kbd> heals all.</p>", sanitize=False,
        )  # fmt: skip
        self._active = ui.html(sanitize=False)
        with ui.element("div").classes("buttons"):
            self._search = ui.input("Search the catalogue", on_change=lambda e: self._fill(e.value)).props(
                "dense outlined clearable"
            )
            ui.button("Heal all", on_click=self.heal_all).props("outline no-caps dense")
        self._list = ui.element("div").classes("list")
        self._fill("")
        page.keys |= {"f": self._focus, "h": self.heal_all}
        page.keys |= {str(number): lambda number=number: self._nth(number) for number in range(1, 10)}
        page.refreshers.append(self.refresh)

    def _focus(self) -> None:
        self._page.turn_to("bench")
        self._search.run_method("focus")

    def _fill(self, text: str | None) -> None:
        self._shown = matching(text or "")
        self._list.clear()
        with self._list:
            for number, entry in enumerate(self._shown, 1):
                self._line(number, entry)
            if not self._shown:
                ui.label("The catalogue has no such fault.")

    def _line(self, number: int, entry: Entry) -> None:
        with ui.element("div").classes("fault"):
            ui.html(f"<kbd>{number}</kbd>" if number < 10 else "", sanitize=False)
            why = NOT_HERE.get(entry.kind)
            does = KINDS[entry.kind].does + (f" ({why})" if why else "")
            ui.html(f'<b>{escape(entry.id)}</b><br><span class="soft">{escape(does)}</span>', sanitize=False)
            if why is None:
                button = ui.button("Break", on_click=lambda: self.turn(entry)).props("outline no-caps dense")
                button.props(f'aria-label="Break or heal {entry.id}"').mark(entry.id)

    async def _nth(self, number: int) -> None:
        if number <= len(self._shown):
            await self.turn(self._shown[number - 1])

    async def turn(self, entry: Entry) -> None:
        """Break it, or heal it where it is broken."""
        stand = self._session.stand
        if not self._page.owns:
            ui.notify("Begin bench input first: faults act on what the sliders feed.", type="warning")
            return
        self._session.touch()
        if entry.id in stand.broken:
            await self._page.ask(lambda: stand.heal(entry.id))
        else:
            await self._page.ask(lambda: self._session.break_(entry.id))

    async def heal_all(self) -> None:
        """Nothing is broken any more."""
        stand = self._session.stand
        if stand.broken and self._page.owns:
            await self._page.ask(lambda: [stand.heal(ident) for ident in list(stand.broken)])

    def refresh(self) -> None:
        """What is broken, and what became of it."""
        broken = list(self._session.stand.broken.values())
        self._active.content = "".join(map(_became, broken)) or '<p class="soft">Nothing is broken.</p>'


def _became(broken: Broken) -> str:
    entry = broken.entry
    parts = []
    if not entry.found_by:
        parts.append(f"nothing can find it out; {entry.covered_by}")
    elif broken.told_s is None:
        parts.append(f"not found out yet ({entry.shows})" if entry.shows else "not found out yet")
    else:
        parts.append(f"found out after {broken.told_s - broken.since_s:.1f} s")
    if broken.diesel_s is not None:
        parts.append(f"supply valve off after {broken.diesel_s - broken.since_s:.1f} s")
    return f'<p><b class="bad">{escape(entry.id)}</b>: {escape("; ".join(parts))}</p>'
