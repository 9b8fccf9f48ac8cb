"""Breaks the sources one place at a time and asks the tests whether they notice: `make mutants`.

    python tools/mutants.py [--all] [--jobs N] [--only FILE]...

`tests/mutants/mutants.toml` says which files are broken and which tests judge them, `by_hand.toml` holds mutants of our
own beside it, `listed.toml` those that may live, each with a reason. `results.tsv` is the outcome, a row a file with the hash
of the source that it was made from; only files whose hash differs, or that had a survivor, are run again (`--all`: every one).

What died is kept in build/mutants/ as it happens: after Ctrl-C, or once a test has been mended, the same command goes on
with what is not dead yet. Exit status: 0 all died or are listed, 1 some did not, 2 bad input, 130 interrupted.

The mutants are mutmut's (`mutations.py`), its runner is not used: it takes a package's name from its path, so that nothing
below firmware/ is found, and changes functions only, while half of the law is tables. Here a child is forked for each mutant
from a parent that has loaded all outside packages and none of ours; the child loads the changed file in place of the one on
disk and runs the tests that ran the changed line, likely killers first, until one fails.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import importlib
import importlib.abc
import importlib.machinery
import json
import os
import resource
import select
import signal
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import coverage
import hypothesis
import pytest
from rich.console import Console
from rich.progress import Progress

from mutations import Mutant, by_hand, mutants_of

FOLDER = Path("tests/mutants")
BUILD = Path("build/mutants")
RESULTS = FOLDER / "results.tsv"
COLUMNS = ("file", "sha256", "mutants", "killed", "listed", "survived")
# A test may take this many s of processor time, and this many times what it took unharmed, before it counts as hanging.
HANG_S, HANG_TIMES, IMPORT_S = 2.0, 10.0, 60.0
MEMORY_BYTES = 8 << 30


class BadInput(Exception):
    """What is wrong in the files that say what to do, in one sentence."""


@dataclass(frozen=True)
class Group:
    """Files that the same tests judge. `generated`: their mutants are made by rule; else by hand alone."""

    name: str
    files: tuple[str, ...]
    tests: tuple[str, ...]
    without: tuple[str, ...] = ()
    prose: tuple[str, ...] = ()
    generated: bool = True


@dataclass(frozen=True)
class Handmade:
    """A mutant written by hand: why it matters, and the tests that must notice. `expect`: of a planted one."""

    file: str
    before: str
    after: str
    why: str
    tests: tuple[str, ...] = ()
    expect: str = "killed"


@dataclass(frozen=True)
class Verdict:
    """`killed` (by a test, on loading, or by hanging) or `survived`; by what; after how many s."""

    name: str
    verdict: str
    by: str
    seconds: float


@dataclass
class Baseline:
    """The unharmed run: s for each test, the tests that ran each line of a file, the packages that it loaded."""

    seconds: dict[str, float]
    ran: dict[str, dict[int, list[str]]]
    packages: list[str]


@dataclass
class Plan:
    """All that the files in tests/mutants say."""

    root: Path
    groups: list[Group]
    handmade: list[Handmade]
    planted: list[Handmade]
    listed: dict[str, dict[str, str]] = field(default_factory=dict)  # file to name to reason

    def group_of(self, file: str) -> Group:
        return next(group for group in self.groups if file in self.files(group))

    def files(self, group: Group) -> list[str]:
        """The group's files, relative to the root, sorted."""
        found = {path for pattern in group.files for path in self.root.glob(pattern)}
        return sorted(path.relative_to(self.root).as_posix() for path in found)

    def every_file(self) -> list[str]:
        return sorted(file for group in self.groups for file in self.files(group))

    def mutants(self, file: str) -> dict[str, Mutant]:
        """All mutants of a file by name. Raises BadInput for one by hand whose place is not there."""
        group = self.group_of(file)
        code = (self.root / file).read_text(encoding="utf-8")
        mutants = mutants_of(code, prose=file in group.prose) if group.generated else []
        found = {mutant.name: mutant for mutant in mutants}
        for made in self.handmade:
            if made.file == file:
                mutant = self.made(made)
                found[mutant.name] = mutant
        return found

    def made_from(self, file: str) -> str:
        """SHA-256 of a file as it is on disk and of its mutants by hand."""
        made_from = hashlib.sha256((self.root / file).read_bytes())
        for made in self.handmade:
            if made.file == file:
                made_from.update(repr(made).encode())
        return made_from.hexdigest()

    def made(self, made: Handmade) -> Mutant:
        """Raises BadInput unless its place is there, once."""
        try:
            return by_hand((self.root / made.file).read_text(encoding="utf-8"), made.before, made.after)
        except ValueError as error:
            raise BadInput(f"{FOLDER}: {made.file}: {error}") from None


def read_plan(root: Path) -> Plan:
    """Reads the three files. Raises BadInput with file and reason."""
    data = {name: _toml(root / FOLDER / name) for name in ("mutants.toml", "by_hand.toml", "listed.toml")}
    try:
        groups = [Group(**_tuples(row)) for row in data["mutants.toml"].pop("group")]
        planted = [Handmade(**_tuples(row)) for row in data["mutants.toml"].pop("planted")]
        handmade = [Handmade(**_tuples(row)) for row in data["by_hand.toml"].pop("mutant", [])]
        plan = Plan(root, groups, handmade, planted)
        for entry in data["listed.toml"].pop("listed", []):
            for name in entry["mutants"]:
                plan.listed.setdefault(entry["file"], {})[name] = entry["reason"]
    except (KeyError, TypeError) as error:
        raise BadInput(f"{FOLDER}: an entry lacks or has too much: {error}") from None
    known = set(plan.every_file())
    for file in [made.file for made in handmade + planted] + list(plan.listed):
        if file not in known:
            raise BadInput(f"{FOLDER}: found {file}; wanted a file of a group")
    return plan


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"{path}: {error}") from None


def _tuples(row: dict[str, Any]) -> dict[str, Any]:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}


def read_results(root: Path) -> dict[str, dict[str, str]]:
    """Rows of the committed outcome by file. Raises BadInput."""
    path = root / RESULTS
    rows = {}
    for line in path.read_text(encoding="utf-8").splitlines()[1:] if path.exists() else []:
        cells = line.split("\t")
        if len(cells) != len(COLUMNS):
            raise BadInput(
                f"{RESULTS}: found {line!r}; wanted {len(COLUMNS)} cells: mend it or run all anew without it"
            )
        rows[cells[0]] = dict(zip([*COLUMNS], cells, strict=True))
    return rows


def write_results(root: Path, rows: dict[str, dict[str, str]]) -> None:
    """The whole outcome, sorted by file."""
    lines = ["\t".join(COLUMNS)] + ["\t".join(rows[file][column] for column in COLUMNS) for file in sorted(rows)]
    (root / RESULTS).write_text("\n".join(lines) + "\n", encoding="utf-8")


def open_files(plan: Plan, rows: dict[str, dict[str, str]]) -> list[str]:
    """Files whose row is missing, older than the file, or has a survivor."""
    current = {file for file, row in rows.items() if row["survived"] == "0"}
    return [f for f in plan.every_file() if f not in current or rows[f]["sha256"] != plan.made_from(f)]


# What happens in the forked child.


class Changed(importlib.abc.MetaPathFinder, importlib.machinery.SourceFileLoader):
    """Loads one module from a changed text; its file on disk stays as it is."""

    def __init__(self, file: Path, text: str) -> None:
        self._file = str(file.resolve())
        self._text = text
        self.loaded = False
        super().__init__("", self._file)

    def find_spec(self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None) -> Any:
        spec = importlib.machinery.PathFinder.find_spec(fullname, path, target)
        if spec is None or spec.origin != self._file:
            return None
        self.name = fullname
        spec.loader = self
        return spec

    def get_code(self, fullname: str) -> Any:
        self.loaded = True
        return compile(self._text, self._file, "exec", dont_inherit=True)


class Watch:
    """Pytest plugin: chooses tests and puts them in order, names the first that fails, ends what hangs."""

    def __init__(self, chosen: set[str], order: Callable[[str], Any], seconds: dict[str, float]) -> None:
        self._chosen = chosen  # empty: all of them
        self._order = order
        self._seconds = seconds
        self.took: dict[str, float] = {}
        self.failed = ""
        self.started: Callable[[str], object] = lambda nodeid: None

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        chosen = [item for item in items if not self._chosen or item.nodeid in self._chosen]
        items[:] = sorted(chosen, key=lambda item: self._order(item.nodeid))

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        usual_s = self._seconds.get(item.nodeid)  # unknown: this is the run that finds out
        signal.setitimer(signal.ITIMER_VIRTUAL, HANG_S + HANG_TIMES * usual_s if usual_s is not None else 0.0)
        self.started(item.nodeid)
        began = time.process_time()
        done = yield
        self.took[item.nodeid] = time.process_time() - began
        return done

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.failed:
            self.failed = f"{report.nodeid} (loading)"


def in_child(work: Callable[[], Any]) -> tuple[int, int]:
    """Forks; the child does `work` away from the terminal and answers in JSON. Its process id, and where to read."""
    reading, writing = os.pipe()
    child = os.fork()
    if child:
        os.close(writing)
        return child, reading
    os.setsid()  # Ctrl-C is the parent's alone: here it would look like a failed test
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in range(3):
        os.dup2(nowhere, stream)
    with contextlib.suppress(ValueError, OSError):  # not every system takes it
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    signal.signal(signal.SIGVTALRM, signal.SIG_DFL)
    sys.dont_write_bytecode = False  # hundreds of children load the same files
    sys.pycache_prefix = str(BUILD.resolve() / "pycache")
    signal.setitimer(signal.ITIMER_VIRTUAL, IMPORT_S)
    try:
        answer = work()
    except BaseException as error:
        answer = {"trouble": f"{type(error).__name__}: {error}"}
    with os.fdopen(writing, "w") as pipe:
        json.dump(answer, pipe)
    os._exit(0)


def run_tests(tests: Sequence[str], without: Sequence[str], watch: Watch) -> int:
    """pytest until the first failure. Hypothesis tries the same examples every time and does not shrink what it finds."""
    hypothesis.settings.register_profile(
        "mutants", derandomize=True, database=None, deadline=None,
        phases=(hypothesis.Phase.explicit, hypothesis.Phase.generate),
    )  # fmt: skip
    flags = [
        "-x",
        "-q",
        "--tb=no",
        "--assert=plain",
        "-p",
        "no:cacheprovider",
        "-p",
        "no:xdist",
        "--hypothesis-profile=mutants",
    ]
    flags += [f"--{'deselect' if '::' in test else 'ignore'}={test}" for test in without]
    return int(pytest.main([*flags, *tests], plugins=[watch]))


def try_mutant(group: Group, file: str, text: str, tests: Sequence[str], watch: Watch) -> dict[str, Any]:
    """In the child: the verdict on one mutant."""
    changed = Changed(Path(file), text)
    sys.meta_path.insert(0, changed)
    status = run_tests(tests or group.tests, group.without, watch)
    seconds = round(time.process_time(), 2)
    if not changed.loaded:
        return {"trouble": f"no test of {group.name} loads {file}"}
    if status == pytest.ExitCode.OK:
        return {"verdict": "survived", "by": "", "seconds": seconds}
    if watch.failed:
        return {"verdict": "killed", "by": watch.failed, "seconds": seconds}
    return {"trouble": f"pytest ended with status {status}"}


def unharmed(group: Group, files: Sequence[str], tests: Sequence[str]) -> dict[str, Any]:
    """In the child: the tests as they are, timed, with the lines that each of them runs."""
    cover = coverage.Coverage(data_file=None, include=list(files), config_file=False)
    watch = Watch(set(), lambda nodeid: 0, {})
    if group.generated:
        watch.started = cover.switch_context
        cover.start()
    status = run_tests(tests, group.without, watch)
    cover.stop()
    if status != pytest.ExitCode.OK:
        return {"trouble": f"the tests fail as they are: {watch.failed or f'pytest status {status}'}"}
    data = cover.get_data()
    ran = {file: data.contexts_by_lineno(str(Path(file).resolve())) for file in files}
    loaded = [name for name, module in sys.modules.items() if "-packages" in str(getattr(module, "__file__", ""))]
    return {"seconds": watch.took, "ran": ran, "packages": loaded}


# What happens in the parent.


class Run:
    """One call of the command."""

    def __init__(self, plan: Plan, jobs: int, console: Console) -> None:
        self.plan = plan
        self.jobs = jobs
        self.console = console
        self.problems: list[str] = []
        self._running: dict[int, tuple[int, Callable[[Any], None]]] = {}  # pipe to child and who reads its answer
        self._interrupted = False
        signal.signal(signal.SIGINT, self._interrupt)  # an exception in the midst of a fork would be lost

    def go(self, files: Sequence[str]) -> None:
        """Judge these files, each outcome written as soon as it is known."""
        for group in self.plan.groups:
            mine = [file for file in self.plan.files(group) if file in files]
            if mine:
                baseline = self.baseline(group)
                for package in baseline.packages:
                    with contextlib.suppress(ImportError):  # some go by a second name that cannot be imported
                        importlib.import_module(package)
                self.planted(group, baseline)
                for file in mine:
                    self.file(group, baseline, file)

    def baseline(self, group: Group) -> Baseline:
        """The unharmed run of the group's tests, from disk while sources and tests are the same."""
        files = self.plan.files(group)
        by_hand = sorted({test for made in self.plan.handmade if made.file in files for test in made.tests})
        tests = list(group.tests) if group.generated else by_hand
        made_from = hashlib.sha256(json.dumps([tests, group.without]).encode())
        for path in sorted({*map(self.plan.root.joinpath, files), *self.plan.root.glob("tests/**/*.py")}):
            made_from.update(path.read_bytes())
        stamp = made_from.hexdigest()
        kept = BUILD / f"baseline-{group.name}.json"
        answer: dict[str, Any] = json.loads(kept.read_text()) if kept.exists() else {}
        if answer.get("stamp") != stamp:
            self.console.print(f"{group.name}: the tests as they are")
            answers: list[dict[str, Any]] = []
            self.fork(lambda: unharmed(group, files, tests), answers.append)
            self.wait()
            if "ran" not in answers[0]:
                raise BadInput(f"the tests of {group.name} hang while they are loaded")
            answer = {**answers[0], "stamp": stamp}
            kept.write_text(json.dumps(answer))
        ran = {file: {int(line): tests for line, tests in lines.items()} for file, lines in answer["ran"].items()}
        return Baseline(answer["seconds"], ran, answer["packages"])

    def planted(self, group: Group, baseline: Baseline) -> None:
        """Mutants whose fate is known: if the run tests nothing, this tells."""
        files = self.plan.files(group)
        for made in [made for made in self.plan.planted if made.file in files]:
            mutant = self.plan.made(made)
            verdicts: list[Verdict] = []
            self.start(group, baseline, made.file, mutant, Counter(), made.tests, verdicts.append)
            self.wait()
            if verdicts[0].verdict != made.expect:
                raise BadInput(
                    f"planted in {made.file}: {mutant.name}: found {verdicts[0].verdict}, wanted {made.expect}"
                )

    def file(self, group: Group, baseline: Baseline, file: str) -> None:
        """All mutants of one file that are not known to be dead; then its row."""
        hash_now = self.plan.made_from(file)
        mutants = self.plan.mutants(file)
        diary = BUILD / (file.replace("/", ".") + ".jsonl")
        dead = self.killed_before(diary, hash_now)
        killers = Counter(verdict.by for verdict in dead.values())
        survivors: list[str] = []
        tests_of = {self.plan.made(made).name: made.tests for made in self.plan.handmade if made.file == file}
        with diary.open("a", encoding="utf-8") as kept, self.progress() as progress:
            bar = progress.add_task(file, total=len(mutants), completed=len(dead.keys() & mutants.keys()))

            def answered(verdict: Verdict) -> None:
                kept.write(json.dumps(vars(verdict)) + "\n")
                kept.flush()
                progress.advance(bar)
                if verdict.verdict == "killed":
                    dead[verdict.name] = verdict
                    killers[verdict.by] += 1
                else:
                    survivors.append(verdict.name)

            for name, mutant in mutants.items():
                if name not in dead:
                    self.start(group, baseline, file, mutant, killers, tests_of.get(name, ()), answered)
            self.wait()
        self.row(file, hash_now, mutants, survivors)

    def progress(self) -> Progress:
        return Progress(console=self.console, transient=True, disable=not self.console.is_terminal)

    def row(self, file: str, hash_now: str, mutants: dict[str, Mutant], survivors: list[str]) -> None:
        """The file's row of the outcome, and what is wrong with it."""
        listed = self.plan.listed.get(file, {})
        lives = [name for name in mutants if name in survivors and name not in listed]
        self.problems += [f"{file}: survived: {name}" for name in lives]
        self.problems += [
            f"{file}: listed, and died: {name}" for name in listed if name in mutants and name not in survivors
        ]
        self.problems += [f"{file}: listed, and no mutant of it: {name}" for name in listed if name not in mutants]
        killed = len(mutants) - len(survivors)
        counts = [len(mutants), killed, len(survivors) - len(lives), len(lives)]
        rows = {name: row for name, row in read_results(self.plan.root).items() if name in self.plan.every_file()}
        rows[file] = dict(zip(COLUMNS, (file, hash_now, *map(str, counts)), strict=True))
        write_results(self.plan.root, rows)
        self.console.print(f"{file}: {outcome(counts)}", highlight=False)

    def killed_before(self, diary: Path, hash_now: str) -> dict[str, Verdict]:
        """What an earlier run killed of this very source; a diary of another source is begun anew."""
        lines = diary.read_text(encoding="utf-8").splitlines() if diary.exists() else []
        if not lines or json.loads(lines[0]) != {"sha256": hash_now}:
            diary.write_text(json.dumps({"sha256": hash_now}) + "\n", encoding="utf-8")
            return {}
        verdicts = [Verdict(**json.loads(line)) for line in lines[1:] if line.endswith("}")]
        return {verdict.name: verdict for verdict in verdicts if verdict.verdict == "killed"}

    def start(
        self, group: Group, baseline: Baseline, file: str, mutant: Mutant, killers: Counter[str],
        tests: Sequence[str], answered: Callable[[Verdict], None],
    ) -> None:  # fmt: skip
        """Try one mutant as soon as there is room; `killers`: tests that killed its neighbours, tried first.

        Tests that did not run the changed line unharmed are left out; a line that loading runs is everybody's.
        """
        ran = set(baseline.ran.get(file, {}).get(mutant.line, ()))
        chosen = set() if "" in ran or tests else ran
        files = sorted({nodeid.partition("::")[0] for nodeid in chosen})

        def order(nodeid: str) -> tuple[int, float]:
            return (-killers[nodeid], baseline.seconds.get(nodeid, 0.0))

        def read(answer: dict[str, Any]) -> None:
            answered(Verdict(mutant.name, **answer))

        watch = Watch(chosen, order, baseline.seconds)
        self.fork(lambda: try_mutant(group, file, mutant.text, tests or files, watch), read)

    def _interrupt(self, *_: object) -> None:
        self._interrupted = True

    def fork(self, work: Callable[[], Any], read: Callable[[Any], None]) -> None:
        while len(self._running) >= self.jobs:
            self._reap()
        child, pipe = in_child(work)
        self._running[pipe] = (child, read)

    def wait(self) -> None:
        while self._running:
            self._reap()

    def _reap(self) -> None:
        ready: list[int] = []
        while not ready:
            if self._interrupted:
                raise KeyboardInterrupt
            ready = select.select(list(self._running), [], [], 0.2)[0]
        pipe = ready[0]
        child, read = self._running.pop(pipe)
        with os.fdopen(pipe) as whole:
            text = whole.read()  # to its end: a child's answer may be longer than a pipe holds
        _, status = os.waitpid(child, 0)
        code = os.waitstatus_to_exitcode(status)
        if code == -signal.SIGVTALRM:
            answer = {"verdict": "killed", "by": "(hangs)", "seconds": 0.0}
        elif code or not text:
            raise BadInput(f"a child ended with {code}; stop what disturbs the machine and run again")
        else:
            answer = json.loads(text)
        if "trouble" in answer:
            raise BadInput(answer["trouble"])
        read(answer)

    def stop(self) -> None:
        """End the children that are still at work."""
        for pipe, (child, _) in self._running.items():
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            os.close(pipe)
        self._running.clear()


def outcome(counts: Sequence[int]) -> str:
    return "{} mutants, {} killed, {} listed, {} survived".format(*counts)


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description="Break the sources one place at a time; do the tests notice?")
    parser.add_argument("--all", action="store_true", help="also files whose committed outcome is up to date")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1, help="mutants tried at a time")
    parser.add_argument("--only", action="append", default=[], metavar="FILE", help="this file, up to date or not")
    options = parser.parse_args(arguments)
    console = Console(soft_wrap=True)
    try:
        plan = read_plan(Path.cwd())
        unknown = set(options.only) - set(plan.every_file())
        if unknown:
            raise BadInput(f"--only: found {', '.join(sorted(unknown))}; wanted a file of {FOLDER}/mutants.toml")
        BUILD.mkdir(parents=True, exist_ok=True)
        run = Run(plan, options.jobs, console)
        try:
            run.go(options.only or (plan.every_file() if options.all else open_files(plan, read_results(plan.root))))
        finally:
            run.stop()
        rows = read_results(plan.root).values()
    except BadInput as error:
        console.print(f"mutants: {error}", style="red", highlight=False, markup=False)
        return 2
    except KeyboardInterrupt:
        console.print("interrupted; the same command goes on from here")
        return 130
    for problem in run.problems:
        console.print(problem, highlight=False, markup=False)
    console.print(f"{len(rows)} files: {outcome([sum(int(row[column]) for row in rows) for column in COLUMNS[2:]])}")
    return 1 if run.problems else 0


if __name__ == "__main__":
    sys.exit(main())
