# Stakeline: the few commands there are. Needed on the machine: make, and Python 3.11 or newer.
#
#   make demo                     set up, invent a campaign, do all verbs on it
#   make test                     every check there is
#   make PYTHON=python3.12 test   the same with another interpreter
#   make WORKERS=8 test           the same on more cores

PYTHON ?= python3
WORKERS ?= 2
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
READY_DEV := $(VENV)/.ready-dev
ONE_THREAD := OPENBLAS_NUM_THREADS=1 OMP_NUM_THREADS=1# linear algebra: the tests share the cores
NO_COMPILER := not compiled and not journey and not real and not slow
KERNELS = $(shell grep -rl --include='*.py' 'import njit' src/stakeline | cut -d/ -f3 | grep -v '\.' | sort -u)

.DEFAULT_GOAL := help
.PHONY: help demo test lint types tests tests-without-compiler validation benchmarks docs format clean

help:
	@echo "make demo        set up and run the invented campaign (needs Python 3.11 or newer)"
	@echo "make test        style, types, tests with and without the compiler, documentation"
	@echo "make validation  every figure we claim: measured, bar, source; writes docs/validation.md (some: NAMES='a b:200')"
	@echo "make benchmarks  how fast it is on this machine"
	@echo "make docs        the handbook, in docs/_build/html"
	@echo "make format      put the sources into our form"
	@echo "make clean       remove what was made here, the set-up too"

# The set-up runs once, and again after a change of pyproject.toml.
$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "Python 3.11 or newer is needed; '$(PYTHON)' is $$($(PYTHON) --version 2>&1)." >&2; \
	  echo "Name another one: make PYTHON=/path/to/python3.12 $(MAKECMDGOALS)" >&2; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || { \
	  echo "'$(PYTHON)' cannot make environments: its modules venv and ensurepip are missing." >&2; \
	  echo "On Debian or Ubuntu: apt-get install python3-venv (as root)." >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(READY): pyproject.toml | $(BIN)/python
	@echo "setting up in $(VENV): some minutes the first time"
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(READY_DEV): pyproject.toml | $(BIN)/python
	@echo "setting up in $(VENV): some minutes the first time"
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[dev,docs]'
	@touch $@ $(READY)

demo: $(READY)
	$(BIN)/stakeline demo demo

test: lint types tests tests-without-compiler docs

lint: $(READY_DEV)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(READY_DEV)
	$(BIN)/mypy

tests: $(READY_DEV)
	$(ONE_THREAD) $(BIN)/python -m pytest -q -rfEs -n $(WORKERS) --dist loadfile

tests-without-compiler: $(READY_DEV)
	$(ONE_THREAD) NUMBA_DISABLE_JIT=1 $(BIN)/python -m pytest -q -n $(WORKERS) --dist loadfile -m "$(NO_COMPILER)" \
	  properties tests/test_compiling.py $(addprefix tests/,$(KERNELS))

validation: $(READY)
	$(BIN)/python validation $(NAMES)

benchmarks: $(READY)
	@status=0; for program in benchmarks/[!_]*.py; do \
	  echo "== $$program"; $(BIN)/python "$$program" || status=1; \
	done; exit $$status

docs: $(READY_DEV)
	$(BIN)/python -m sphinx -q -W --keep-going -b html docs docs/_build/html

format: $(READY_DEV)
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

clean:
	rm -rf $(VENV) build dist demo docs/_build .pytest_cache .mypy_cache .ruff_cache .hypothesis
	find src tests properties validation benchmarks builders -name __pycache__ -type d -prune \
	  -exec rm -rf {} +
