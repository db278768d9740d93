# One command each.  All that is installed lies in .venv, all that is built in dist; the second time is quick.
#   make demo    run the main job end to end        make fmt    format the code
#   make test    run the tests                      make bench  run the benchmarks
#   make lint    ruff and mypy --strict             make build  build the wheel and the source archive
#   make probe   every case of the probe against the built-in ends on every medium (4 minutes)
#   make fuzz    fuzz every decoder: ten minutes, or make fuzz SECONDS=60
#   make clean   take .venv, dist and caches away
# Another interpreter: make PYTHON=python3.12 test     A faster machine: make JOBS=8 test

PYTHON ?= python3
JOBS ?= 2
SECONDS ?= 600
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check

.DEFAULT_GOAL := help
.PHONY: help demo test lint fmt bench build clean probe fuzz

help:
	@sed -n '2,9s/^# \{0,1\}//p' Makefile

demo: $(VENV)/.for-running
	$(BIN)/benchsim demo

test: $(VENV)/.for-tests
	$(BIN)/python -m pytest -n $(JOBS)

probe: $(VENV)/.for-tests
	$(BIN)/python -m pytest -n 8 -m long tests/real/test_probe_whole.py

lint: $(VENV)/.for-lint
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

fmt: $(VENV)/.for-lint
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: $(VENV)/.for-tests
	@for file in tests/benchmarks/bench_*.py; do echo "== $$file"; $(BIN)/python -m "$$(echo $${file%.py} | tr / .)" || exit 1; done

fuzz: $(VENV)/.for-fuzz
	$(BIN)/python -m tests.fuzz.run --seconds $(SECONDS)

build: $(VENV)/.for-build
	rm -rf dist
	$(BIN)/python -m build

clean:
	rm -rf $(VENV) dist build .mypy_cache .ruff_cache .pytest_cache .hypothesis .bench .fuzz
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "benchsim needs Python 3.11 or later; name one: make PYTHON=python3.12 ..." >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/.for-running: pyproject.toml | $(BIN)/python
	$(PIP) install --quiet --editable .
	@touch $@

$(VENV)/.for-tests: pyproject.toml | $(BIN)/python
	$(PIP) install --quiet --editable '.[test]'
	@touch $@ $(VENV)/.for-running

$(VENV)/.for-lint: pyproject.toml | $(BIN)/python
	$(PIP) install --quiet --editable '.[test,lint]'
	@touch $@ $(VENV)/.for-tests $(VENV)/.for-running

$(VENV)/.for-fuzz: pyproject.toml | $(BIN)/python
	$(PIP) install --quiet --editable '.[test,fuzz]' || \
	  { echo "atheris comes built for Linux only, for Python 3.11 to 3.14" >&2; exit 1; }
	@touch $@ $(VENV)/.for-tests $(VENV)/.for-running

$(VENV)/.for-build: pyproject.toml | $(BIN)/python
	$(PIP) install --quiet 'build>=1.2'
	@touch $@
