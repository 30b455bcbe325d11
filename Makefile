# Two commands do everything on a fresh machine: `make run` and `make test`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
TEST_READY := $(VENV)/.test-ready

.PHONY: run setup test check bench soak clean

run: $(READY)
	@exec $(BIN)/intakebot serve

setup: $(READY)

test: $(TEST_READY) check
	$(BIN)/pytest -n 2 --dist loadfile -m "not soak"

check: $(TEST_READY)
	$(BIN)/ruff check intakebot tests
	$(BIN)/ruff format --check intakebot tests
	$(BIN)/mypy
	$(BIN)/intakebot check

bench: $(TEST_READY)
	$(BIN)/python tests/bench/run.py

soak: $(TEST_READY)
	$(BIN)/pytest -m soak -s

$(READY): requirements.txt pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or newer is needed; set PYTHON=...")'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check -r requirements.txt
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps -e .
	@touch $(READY)

$(TEST_READY): $(READY) requirements-test.txt
	$(BIN)/pip install --quiet --disable-pip-version-check -r requirements-test.txt
	@touch $(TEST_READY)

clean:
	rm -rf $(VENV) build dist *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis
