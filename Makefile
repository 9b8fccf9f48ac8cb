# `make demo` and `make test` need Python 3.11 or later, git and make; everything else comes from the locked lists.
# PYTHON=/path/to/python3 picks another interpreter than the newest on PATH.
# Written for GNU make 3.81 and a POSIX shell.
.SUFFIXES:
.DEFAULT_GOAL = help

SHELL = /bin/sh
PYTHON =
BIN = .venv/bin
WORKERS = 2
LAW_TESTS = tests/law

help:
	@echo 'make demo      a simulated winter commute; report in build/demo/report.html'
	@echo 'make test      every test, and full line and branch coverage of the law'
	@echo 'make mutants   does a test die for each small change of the law? (an hour)'
	@echo 'make prove     search for counterexamples for a quarter of an hour'
	@echo 'make browser   the tests that need Chromium and its driver'
	@echo 'make lint      style      make types  types      make imports  import rules'
	@echo 'make fast      the same files compiled, ten times as fast, into build/fast (needs a C compiler)'
	@echo 'make bench     speed beside its bars'
	@echo 'make picture   refresh docs/demo.png (needs Chromium)'
	@echo 'make docs      write docs/interlocks.md, settings.md and faults.md from the tables'
	@echo 'make budget    what the program takes of the board: sizes, heap, time'
	@echo 'make panel     refresh the pictures of the panel in docs/panel'
	@echo 'make drawing   refresh hardware_notes/overview.svg'
	@echo 'make lock      resolve requirements/ anew (needs uv and npm)'
	@echo 'make clean     remove what was built;  make distclean  the environment too'

env-run:
	@PYTHON='$(PYTHON)' tools/environment.sh run

env-test:
	@PYTHON='$(PYTHON)' tools/environment.sh test

env-bench:
	@PYTHON='$(PYTHON)' tools/environment.sh bench

demo: env-run
	@start=$$(date +%s) && $(BIN)/secondtank drive winter_commute --out build/demo && \
	    echo "demo took $$(( $$(date +%s) - start )) s"

# The law's own tests run apart, under the coverage tracer, so that it slows nothing else and nothing else covers for them;
# a file's on one worker, so that a commute is recorded once.
test: env-test
	-@$(BIN)/python tools/fast_build.py
	$(BIN)/python -m pytest -n $(WORKERS) -m 'not browser' --ignore=$(LAW_TESTS)
	@$(MAKE) coverage

coverage: env-test
	@rm -rf build/coverage && mkdir -p build/coverage
	$(BIN)/python -m coverage run -m pytest -n $(WORKERS) --dist loadfile $(LAW_TESTS)
	@$(BIN)/python -m coverage combine -q
	$(BIN)/python -m coverage report

# The same files compiled, ten times as fast: PYTHONPATH=build/fast .venv/bin/secondtank ...
fast: env-test
	$(BIN)/python tools/fast_build.py

# Every mutant of the law, its tables and the hazard monitors; resumes where it was interrupted.
mutants: env-test
	$(BIN)/python tools/mutants.py --jobs $(WORKERS)

# The search of tests/prove, long and with new examples each time.
prove: env-test
	$(BIN)/python -m pytest tests/prove --hypothesis-profile=deep -s

browser: env-test
	SE_OFFLINE=true $(BIN)/python -m pytest -m browser

lint: env-test
	$(BIN)/ruff check
	$(BIN)/ruff format --check

types: env-test
	PYRIGHT_PYTHON_IGNORE_WARNINGS=1 $(BIN)/pyright --pythonpath $(BIN)/python
	PYRIGHT_PYTHON_IGNORE_WARNINGS=1 $(BIN)/pyright --project tools/board_types.json

imports: env-test
	$(BIN)/lint-imports

bench: env-bench
	$(BIN)/python -m tests.bench

picture: env-test
	$(BIN)/secondtank drive winter_commute --out build/demo
	SE_OFFLINE=true $(BIN)/python tools/picture.py build/demo/report.html docs/demo.png

# What the board's program takes: file sizes, heap, time.
budget: env-test
	$(BIN)/python tools/budget

# The overview of the hardware notes.
drawing: env-test
	cd tools && ../$(BIN)/python -m drawings.schematic

# The panel's pages as pictures, from the firmware's own drawing.
panel: env-run
	$(BIN)/python tools/panel_pictures.py

docs: env-run
	$(BIN)/python tools/tables.py

# One version of each package for every Python and platform, hashes, no addresses, no settings of this machine.
COMPILE = uv pip compile --quiet --no-config --universal --python-version 3.11 --fork-strategy fewest \
    --only-binary :all: --generate-hashes --no-emit-index-url --custom-compile-command 'make lock' --upgrade

lock:
	@command -v uv >/dev/null || { echo 'make lock needs uv: pipx install uv' >&2; exit 1; }
	$(COMPILE) pyproject.toml --group build -o requirements/run.txt
	$(COMPILE) pyproject.toml --group build --group fast --group test -c requirements/run.txt -o requirements/test.txt
	$(COMPILE) --group bench -c requirements/test.txt -o requirements/bench.txt
	$(COMPILE) --group node -o requirements/node.txt
	$(COMPILE) --group stubs -o requirements/stubs.txt
	npm install --prefix requirements --package-lock-only --ignore-scripts --omit-lockfile-registry-resolved

clean:
	rm -rf build dist .pytest_cache .ruff_cache .hypothesis .import_linter_cache
	find firmware host_sim tools tests -name __pycache__ -type d -prune -exec rm -rf {} +

distclean: clean
	rm -rf .venv

.PHONY: help env-run env-test env-bench demo test coverage fast mutants prove browser lint types imports bench picture budget drawing panel docs lock clean distclean
