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

# Files with these hashes alone are installed; the project's own two distributions come from here, and have none.
PIP = $(BIN)/python -m pip --quiet --disable-pip-version-check
LOCKED = $(PIP) install --require-hashes

.DEFAULT_GOAL := help
.PHONY: help demo serve topology faults containers test nightly gates reviewed lint check bench lock clean

help: ## what can be made
	@sed -n 's/^\([a-z]*\):.*## /\1	/p' $(MAKEFILE_LIST) | expand -t 14

$(BIN)/python:
	@$(PYTHON) machine.py build
	$(PYTHON) -m venv $(VENV)

$(VENV)/.run: $(BIN)/python service/requirements.lock service/embedded.lock pyproject.toml clients/python/pyproject.toml
	@echo "Setting up $(VENV), once: durable-rules is built, $$(cat service/*.lock | grep -c ==) packages are fetched; half a minute, more on a slow line."
	@sed -n '/^durable-rules==/,/[^\\]$$/p' service/requirements.lock >$(VENV)/engine.lock
	CPPFLAGS="$(ENGINE_FLAGS)" $(LOCKED) --no-cache-dir -r $(VENV)/engine.lock
	$(BIN)/python -c 'import durable_rules_engine'
	$(LOCKED) -r service/requirements.lock -r service/embedded.lock
	$(PIP) install --no-deps -e clients/python -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.run tests/requirements.lock
	@echo "Setting up what the tests need, once: $$(grep -c == tests/requirements.lock) packages more; half a minute."
	$(LOCKED) -r tests/requirements.lock
	@touch $@

$(VENV)/.nightly: $(VENV)/.dev tests/nightly.lock
	$(LOCKED) -r tests/nightly.lock
	@touch $@

demo: $(VENV)/.run ## set up, start the service, judge a working day of the demo collective
	@$(BIN)/python demo/run.py $(if $(STORE),--store $(STORE))

serve: $(VENV)/.run ## set up and start the service with the demo collective on port 8080 (or PORT=8081)
	$(BIN)/accord seed demo --data .data/demo --store "$(STORE)"
	$(BIN)/accord serve --data .data/demo --store "$(STORE)" --port $(PORT)

topology: $(VENV)/.run ## two services on one redis-server, started by hand and checked
	$(BIN)/python demo/topology.py

faults: $(VENV)/.dev ## the topology of docker-compose.yml by hand and under load, one part after the other broken; prints what each cost
	$(BIN)/python -m tests.e2e.faults.table

containers: $(VENV)/.dev ## build the image and run docker-compose.yml, in a container engine of its own, as root
	$(BIN)/python -m tests.containers.trial

test: $(VENV)/.dev ## set up and run the tests, the gates among them; the last lines say what could not run here, and why
	@$(BIN)/python tests/suite.py

nightly: $(VENV)/.nightly ## the tests with what takes long: mutants, faults, containers, 20,000 questions, 1,000 orders a law, fuzzing
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

check: lint test ## style, types, imports and the tests; CI draws some of these longer

bench: $(VENV)/.dev ## speed, as ratios taken in one run
	$(BIN)/python tests/bench/bench_inference.py
	$(BIN)/python tests/bench/bench_recommend.py
	$(BIN)/python tests/bench/bench_budgets.py
	$(BIN)/python tests/bench/bench_replay.py
	$(BIN)/python tests/bench/bench_heat.py
	$(BIN)/python tests/bench/bench_reading.py
	$(BIN)/python tests/bench/bench_service.py
	$(BIN)/python tests/bench/bench_speed.py
	$(BIN)/python tests/bench/bench_tables.py

lock: $(BIN)/python ## write the pinned requirements and their hashes anew; UPGRADE=--upgrade takes the newest
	$(PIP) install 'uv>=0.9'
	$(BIN)/python tests/lock.py $(UPGRADE)

clean: ## take away what was made
	rm -rf $(VENV) dist .pytest_cache .mypy_cache .ruff_cache .hypothesis .import_linter_cache
