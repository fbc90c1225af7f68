# make demo   set up .venv and run the demo: a brief becomes a plant, checked, sized, as a pack
# make opcua  add the extra part that reads controllers over OPC UA
# make ifc    add the extra part that writes the plan as a building model (IFC 4)
# make postgresql  add the extra part that keeps the site log in PostgreSQL
# make test   set up .venv and run every check: ruff, mypy, pytest
# make lint | types | pytest | bench | pins | clean

PYTHON ?= python3
WORKERS ?= 3
BIN := .venv/bin
export PYTHON

CAN_RUN := .venv/.can-run
CAN_TEST := .venv/.can-test
INSTALL := tools/environment.sh tools/compile.sh requirements-build.txt pyproject.toml

.PHONY: demo opcua ifc postgresql test lint types pytest bench pins clean
.SILENT:

demo: $(CAN_RUN)
	$(BIN)/byrewright demo

opcua ifc postgresql: $(CAN_RUN)
	tools/environment.sh requirements-$@.txt

# Types are checked beside the tests, in time that their workers wait.
test: lint
	+$(MAKE) --no-print-directory -j2 types pytest

lint: $(CAN_TEST)
	$(BIN)/ruff check --quiet .
	$(BIN)/ruff format --quiet --check . || { echo "Not in the agreed format: run '$(BIN)/ruff format .'"; exit 1; }
	echo "ruff: clean"

types: $(CAN_TEST)
	$(BIN)/mypy

# Files of tests go to workers whole, so that what a file shares is made once, and in their order,
# pages first (tests/conftest.py). Three workers keep two cores busy: one of them waits for a browser.
pytest: $(CAN_TEST)
	$(BIN)/pytest -q -n $(WORKERS) --dist loadfile --no-loadscope-reorder

bench: $(CAN_TEST)
	set -e; for bench in benchmarks/bench_*.py; do \
	  [ -e "$$bench" ] || { echo "There is no benchmark yet."; exit 0; }; \
	  echo "== $$bench"; $(BIN)/python "$$bench"; done

# Compile the pins again after a change to a requirements .in file. Needs uv.
PINNED := requirements requirements-opcua requirements-ifc requirements-postgresql requirements-dev requirements-build
pins:
	command -v uv >/dev/null || { echo "'make pins' needs uv on the PATH."; exit 1; }
	for name in $(PINNED); do echo "$$name.txt"; \
	  case $$name in requirements-opcua|requirements-ifc|requirements-postgresql) also='--constraints requirements.txt';; *) also=;; esac; \
	  uv pip compile --quiet --generate-hashes --no-emit-index-url --no-header \
	    --python-version 3.11 --universal $$also $$name.in -o $$name.txt || exit 1; done

clean:
	rm -rf .venv build dist out *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

$(CAN_RUN): requirements.txt $(INSTALL)
	tools/environment.sh requirements.txt
	tools/compile.sh
	touch $@

$(CAN_TEST): requirements-dev.txt $(INSTALL)
	tools/environment.sh requirements-dev.txt
	touch $@ $(CAN_RUN)
