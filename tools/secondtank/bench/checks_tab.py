"""The guided checks, in order: one at a time, each with what to do, what must happen and what was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

from nicegui import ui

from host_sim.errors import InputError
from secondtank.bench import check_emergency, check_runs, words
from secondtank.bench.check_list import CHECKS, GROUPS, INPUT, PLAUSIBLE, Check
from secondtank.bench.check_runs import Outcome, Run, Steady
from secondtank.bench.complain import complain
from secondtank.bench.hands import hands_card
from secondtank.bench.records import PAGE
from secondtank.bench.view import TALKING, program

if TYPE_CHECKING:
    from secondtank.bench.page import Page

_LOOKS = {
    "passed": ("ok", "passed"), "failed": ("bad", "FAILED"), "again": ("warn", "asked for again"), "open": ("soft", "not made yet"),
    "not fitted": ("soft", "not fitted"),
}  # fmt: skip


class ChecksTab:
    """A list of what there is, and one check that is being made."""

    def __init__(self, page: Page) -> None:
        self._page = page
        self._session = page.session
        self._book = page.bench.book
        self._check: Check | None = None
        self._run: Run | None = None
        self._counted: object = None
        self._badges: dict[str, ui.label] = {}
        self._rows: dict[str, ui.element] = {}
        with ui.element("section").classes("card"):
            ui.html("Guided checks", tag="h2", sanitize=False)
            self._total = ui.label().classes("big")
            ui.label(
                "One after the other, from the top. A failed check: back on diesel, find out why, begin its part again."
            )
            ui.link("Page to print", f"/records/{PAGE}", new_tab=True)
            if page.session.port.hands is not None:
                hands_card(page.session.port.hands)
        with ui.element("div").classes("cols"):
            with ui.element("section").classes("card"):
                self._build_list()
            with ui.element("section").classes("card now").props('aria-live="polite"'):
                self._build_check()
        page.refreshers.append(self.refresh)

    def _build_list(self) -> None:
        for kind, title in GROUPS:
            ui.label(title).classes("h2")
            for check in CHECKS:
                if check.kind == kind:
                    with ui.element("div").classes("fault").style("grid-template-columns: 1fr auto") as row:
                        button = ui.button(check.title, on_click=lambda _, c=check: self.choose(c)).props(
                            "flat no-caps dense align=left"
                        )
                        button.mark(check.id)
                        self._badges[check.id] = ui.label()
                    self._rows[check.id] = row

    def _build_check(self) -> None:
        self._title = ui.label("Choose a check").classes("h2")
        self._text = ui.html(sanitize=False)
        self._truth = ui.number("True value").props("dense outlined")
        self._note = ui.input("Note (what was seen, which instrument)").props("dense outlined")
        with ui.element("div").classes("buttons"):
            self._begin = ui.button("Begin the check", on_click=self.begin).props("no-caps")
            self._yes = ui.button("It does: passed", on_click=lambda: self.said(True)).props("no-caps color=positive")
            self._no = ui.button("It does not: failed", on_click=lambda: self.said(False)).props(
                "no-caps color=negative"
            )
        self._progress = ui.label().classes("big")
        self._next = ui.button("Next check", on_click=self.next).props("outline no-caps")
        self._before = ui.label().classes("soft")

    def choose(self, check: Check) -> None:
        """Show a check."""
        self._session.watcher.listener = None
        self._check, self._run = check, None
        self._title.text = check.title
        facts = (("Do", check.do), ("Must", check.must), ("Asked for by", check.source))
        self._text.content = (words.caution(check.caution) if check.caution else "") + words.facts_list(facts)
        self._truth.value = None
        if check.kind == PLAUSIBLE:
            self._truth.props(f'label="True value, {check_runs.truth_unit(int(check.target))}"')
        self._note.value = ""
        self.refresh()
        ui.run_javascript(
            "document.querySelector('.now')?.scrollIntoView({block: innerWidth < 1000 ? 'start' : 'nearest'})"
        )

    def next(self) -> None:
        """The next one that is to be made."""
        values = self._session.view.values
        due = [check for check in CHECKS if self._book.state(check, values) not in ("passed", "not fitted")]
        place = CHECKS.index(self._check) if self._check else -1
        self.choose(next((check for check in due if CHECKS.index(check) > place), due[0] if due else CHECKS[0]))

    async def begin(self) -> None:
        """Start what measures it."""
        check = self._check
        assert check is not None
        self._run = await self._page.ask(lambda: check_emergency.begin(check, self._session, self._page.id))

    def said(self, passed: bool) -> None:
        """A person says so."""
        outcome = self._run.outcome if self._run else None
        self._keep(Outcome(passed, outcome.measured if outcome else "seen by a person"))

    def _keep(self, outcome: Outcome) -> None:
        assert self._check is not None
        assert outcome.passed is not None
        view = self._session.view
        self._session.watcher.listener = None
        self._run = None
        if self._page.owns:
            self._session.do(lambda: self._session.end("the check is over"))
        try:
            self._book.add(
                self._check.id, outcome.passed, outcome.measured, view.values, view.version, self._note.value or ""
            )
        except InputError as error:
            complain(error)
            return
        ui.notify(
            f"{self._check.title}: {'passed' if outcome.passed else 'failed'}, kept",
            type="positive" if outcome.passed else "negative",
        )

    def refresh(self) -> None:
        """How things stand; a check that measured itself is kept at once."""
        view, run = self._session.view, self._run
        self._book.firmware = program(view.version)
        if run is not None and run.outcome is not None:
            outcome = self._plausible(run) if isinstance(run, Steady) else run.outcome
            if outcome.passed is not None:
                self._keep(outcome)
        now = view.link, view.values, self._book.firmware, self._book.added
        if now != self._counted:
            self._counted = now
            self._count(view.values)
            if view.link == TALKING:
                self._print(view.values)
        self._show()

    def _count(self, values: dict[str, int]) -> None:
        count: dict[str, int] = {}
        for check in CHECKS:
            state = self._book.state(check, values)
            count[state] = count.get(state, 0) + 1
            kind, said = _LOOKS[state]
            self._badges[check.id].text = said
            self._badges[check.id].classes(replace=kind)
            self._rows[check.id].set_visibility(state != "not fitted")
        made = sum(number for state, number in count.items() if state != "not fitted")
        again = f", {count['again']} asked for again" if count.get("again") else ""
        failed = f", {count['failed']} FAILED" if count.get("failed") else ""
        self._total.text = f"{count.get('passed', 0)} of {made} passed{failed}{again}"

    def _print(self, values: dict[str, int]) -> None:
        """Keep the page to print up to date."""
        try:
            self._book.print(values)
        except InputError as error:
            complain(error)

    def _plausible(self, run: Steady) -> Outcome:
        if not run.values or self._truth.value is None:
            return Outcome(False, f"not trusted: {run.outcome.measured if run.outcome else ''}")
        read = round(sum(run.values) / len(run.values))
        return check_runs.judge_plausible(run.channel, read, self._truth.value)

    def _show(self) -> None:
        check, run = self._check, self._run
        measures = check is not None and check.kind != "told"
        plausible = check is not None and check.kind == PLAUSIBLE
        self._begin.set_visibility(measures and run is None)
        self._begin.set_enabled(not plausible or self._truth.value is not None)
        self._truth.set_visibility(plausible)
        self._note.set_visibility(check is not None)
        asks = check is not None and (not measures or (run is not None and run.outcome is not None))
        self._yes.set_visibility(asks)
        self._no.set_visibility(
            check is not None and (asks or (run is not None and check.kind in (INPUT, "unplugged", "output")))
        )
        progress = run.progress if run is not None else ""
        if run is not None and run.outcome is not None:
            progress = f"{run.outcome.measured}. {run.progress}. Did it act alone?"
        self._progress.text = progress
        result = self._book.latest.get(check.id) if check is not None else None
        if check is None or result is None:
            self._before.text = ""
        else:
            again = self._book.again(check, self._session.view.values)
            self._before.text = (
                f"Last: {'passed' if result.passed else 'failed'}, {result.at}: {result.measured}. {again}"
            )
