"""The display: which page is drawn. The board shows `canvas.buffer`; nothing here knows hardware, and drawing may allocate."""

import panel_pages
from changeover import messages
from changeover.law import Law
from changeover.settings_file import settings_hash
from journal import Journal
from panel_canvas import Canvas

PAGES = ("driving", "sensors 1", "sensors 2", "faults", "versions", "totals", "prime", "filter", "self-test")
DRIVING, SENSORS_1, SENSORS_2, FAULTS, VERSIONS, TOTALS, PRIME, FILTER, SELF_TEST = range(9)


class Panel:
    """`buffer`: the picture, 128 x 64, as `framebuf`'s MONO_VLSB has it. `page`: the one that service mode stands on.

    `note`, up to two lines of 21 letters, is set by whoever carries out what a service page offers, and shown there.
    """

    def __init__(
        self,
        values: dict[str, int],
        journal: Journal | None = None,
        language: dict[int, tuple[str, str]] = messages.ENGLISH,
    ) -> None:
        self._values = values
        self._settings = settings_hash(values)
        self._journal = journal
        self._language = language
        self._canvas = Canvas()
        self._part = 0
        self._drawn = self._message = -1
        self._noted = ""
        self.buffer = self._canvas.buffer
        self.page = DRIVING
        self.note = ""

    def turn(self, law: Law) -> None:
        """A short press in service mode: the next page, after the last one the first service page."""
        import panel_service  # kept out of memory until service mode asks

        left = len(panel_service.blocking(law)) - (self._part + 1) * panel_service.FAULTS_A_PAGE
        if self.page == FAULTS and left > 0:
            self._part += 1
        else:
            self._part = 0
            self.page = SENSORS_1 if self.page == SELF_TEST else self.page + 1
        self.note = ""
        self._drawn = -1

    def draw(self, law: Law, page: int) -> None:
        """Draw a page into `buffer`, at once."""
        self._compose(law, page)
        self._canvas.paint()

    def step(self, law: Law, page: int, anew: bool) -> None:
        """Draw a page into `buffer`, a row a tick. `anew`: what stands on it may have changed; another page, message or note
        is always seen."""
        if anew or page != self._drawn or law.panel.message != self._message or self.note != self._noted:
            self._compose(law, page)
        self._canvas.paint(1)

    def _compose(self, law: Law, page: int) -> None:
        """Say what a page is to show. Driving gives way to the answer that a short press asked for, while it stands."""
        self._drawn, self._message, self._noted = page, law.panel.message, self.note
        canvas = self._canvas
        canvas.clear()
        if page == DRIVING:
            asked = law.panel.message == messages.STANDING or law.panel.message == messages.PURGE_NOW
            (panel_pages.stop if asked else panel_pages.driving)(canvas, law, self._language)
            return
        import panel_service

        if page <= SENSORS_2:
            panel_service.sensors(canvas, law, page == SENSORS_2)
        elif page == FAULTS:
            panel_service.faults(canvas, law, self._language, self._part)
        elif page == VERSIONS:
            panel_service.versions(canvas, self._values, self._settings, self._journal)
        elif page == TOTALS:
            panel_service.totals(canvas, self._journal)
        else:
            panel_service.action(canvas, page - PRIME, self.note)
