# Everything from a bare clone: needs Python 3.11 to 3.13 with venv, a C compiler and the Python headers.
PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
PORT ?= 8080
# The address of a Redis or Valkey, for a machine that is not Linux; on Linux a store comes along.
STORE ?=

# durable-rules is built from source. On Python 3.13 it calls a function that is gone; the new name does the same.
# pip's own cache could hold a build without it, hence --no-cache-dir for this one.
ENGINE_FLAGS = $(shell $(PYTHON) -c 'import sys; print("-DPyEval_CallObject=PyObject_CallObject" if sys.version_info >= (3, 13) else "")')

.DEFAULT_GOAL := help
.PHONY: help demo serve topology test nightly gates reviewed lint check bench lock clean

help: ## what can be made
	@sed -n 's/^\([a-z]*\):.*## /\1	/p' $(MAKEFILE_LIST) | expand -t 14

$(BIN)/python:
	@$(PYTHON) machine.py build
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: $(BIN)/python service/requirements.lock pyproject.toml clients/python/pyproject.toml
	@echo "Setting up $(VENV), once: durable-rules is built, $$(grep -c == service/requirements.lock) packages are fetched; half a minute, more on a slow line."
	CPPFLAGS="$(ENGINE_FLAGS)" $(BIN)/python -m pip install --quiet --disable-pip-version-check --no-cache-dir durable-rules==2.0.28
	$(BIN)/python -c 'import durable_rules_engine'
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r service/requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -e clients/python -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.run tests/requirements.lock
	@echo "Setting up what the tests need, once: $$(grep -c == tests/requirements.lock) packages more; half a minute."
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -r tests/requirements.lock
	@touch $@

demo: $(VENV)/.run ## set up, start the service, judge a working day of the demo collective
	@$(BIN)/python demo/run.py $(if $(STORE),--store $(STORE))

serve: $(VENV)/.run ## set up and start the service with the demo collective on port 8080 (or PORT=8081)
	$(BIN)/accord seed demo --data .data/demo --store "$(STORE)"
	$(BIN)/accord serve --data .data/demo --store "$(STORE)" --port $(PORT)

topology: $(VENV)/.run ## two services on one redis-server, as in docker-compose.yml, started by hand and checked
	$(BIN)/python demo/topology.py

test: $(VENV)/.dev ## set up and run the tests, the gates among them; the last lines say what could not run here, and why
	@$(BIN)/python tests/suite.py

nightly: $(VENV)/.dev ## the tests with what takes long: each mutant of the code, 20,000 random questions to engine and judge, 1,000 orders a law
	@ACCORD_NIGHTLY=1 ACCORD_DIFFERENTIAL=20000 ACCORD_LAWS=1000 $(BIN)/python tests/suite.py

gates: $(VENV)/.dev ## of the tests, those alone that keep a wrong verdict out: mutants, laws, the demo's day
	$(BIN)/python -m pytest -n auto --dist loadfile -m gate

reviewed: $(VENV)/.dev ## write the reviewed tables of windows, levels and limits anew; read the difference
	$(BIN)/python tests/rules/published/windows.py --write
	$(BIN)/python tests/rules/published/firmness.py --write

lint: $(VENV)/.dev ## style, types and the direction of imports
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

check: lint test ## what CI runs for every change

bench: $(VENV)/.dev ## speed, as ratios taken in one run
	$(BIN)/python tests/bench/bench_inference.py
	$(BIN)/python tests/bench/bench_recommend.py
	$(BIN)/python tests/bench/bench_budgets.py
	$(BIN)/python tests/bench/bench_heat.py
	$(BIN)/python tests/bench/bench_reading.py
	$(BIN)/python tests/bench/bench_service.py
	$(BIN)/python tests/bench/bench_speed.py

lock: $(BIN)/python ## write the pinned requirements anew from pyproject's floors
	$(BIN)/python tests/lock.py

clean: ## take away what was made
	rm -rf $(VENV) dist .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
