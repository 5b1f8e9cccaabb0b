# Each target sets itself up: it needs Python 3.11 or newer and make, and installs only inside .venv.

PYTHON ?= python3
BIN := .venv/bin
PIP := $(BIN)/python -m pip --quiet --disable-pip-version-check --no-input

.PHONY: demo test lint bench lock clean

demo: .venv/ready  ## the invented shop, served on this machine
	@$(BIN)/python -m seed_demo

test: .venv/ready-dev  ## every test, on SQLite and on a real PostgreSQL
	@$(BIN)/python -m pytest --numprocesses 2 --dist worksteal

lint: .venv/ready-dev  ## style, types, and the order of the subjects
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy
	@$(BIN)/lint-imports

bench: .venv/ready-dev  ## speed and memory, as ratios to bare libraries measured in the same run
	@$(BIN)/python -W ignore -m tests.speed

lock: .venv/ready-dev  ## choose the newest versions again; review what changes
	@$(BIN)/uv pip compile --quiet --upgrade --universal --python-version 3.11 --generate-hashes \
	  --no-header --no-emit-index-url --group dev pyproject.toml --output-file requirements-dev.lock >/dev/null
	@$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
	  --no-header --no-emit-index-url --group build --constraint requirements-dev.lock \
	  pyproject.toml --output-file requirements.lock >/dev/null

clean:  ## forget the environment and the demonstration's records
	rm -rf .venv var

# The lock files say exactly what is installed; a changed lock file installs again.
.venv/ready: requirements.lock pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || { \
	  echo "Temperbook needs Python 3.11 or newer. Name one: make PYTHON=python3.12 $(MAKECMDGOALS)"; exit 1; }
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@echo "Installing what Temperbook needs into .venv; the first time takes a minute or two."
	@$(PIP) install --require-hashes --requirement requirements.lock
	@$(PIP) install --no-build-isolation --no-deps --editable .
	@touch $@

.venv/ready-dev: .venv/ready requirements-dev.lock
	@echo "Installing what the tests and checks need into .venv."
	@$(PIP) install --require-hashes --requirement requirements-dev.lock
	@touch $@
