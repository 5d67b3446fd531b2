# The whole interface: make demo | test | lint | bench | docs | serve | clean
# Each target sets up what it needs first, once; a second call does no set-up.
#   make VENV=/tmp/v test      set up somewhere else
#   make UV=false test         install with pip alone (slower; same packages, same hashes)
#   make PYTHON=python3.13 ... with another Python, 3.11 or newer

PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
UV := $(BIN)/uv

.PHONY: demo test lint bench docs serve clean venv
.DELETE_ON_ERROR:

demo: $(VENV)/.run
	rm -rf build/demo-works
	$(BIN)/reelmark demo --dir build/demo-works

test: $(VENV)/.dev
	$(BIN)/python -m pytest -n 2 $(ARGS)

lint: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

bench: $(VENV)/.dev
	$(BIN)/python bench/run.py

docs: $(VENV)/.dev
	$(BIN)/python -m sphinx -W --keep-going -q -b html docs docs/_build/html
	@echo "the manual: docs/_build/html/index.html"

serve: $(VENV)/.run
	@[ -e build/demo-works/journal.db ] || $(BIN)/reelmark demo --dir build/demo-works
	$(BIN)/reelmark serve build/demo-works

clean:
	rm -rf build dist docs/_build .pytest_cache .mypy_cache .ruff_cache .hypothesis .coverage htmlcov

# --- set-up: three locks, one stamp file each ---------------------------------------------------------------

venv: $(VENV)/.dev

# Packages of lock $(1), every file checked against its hash; pip does it where uv does not work.
install = { $(UV) pip install --quiet --python $(BIN)/python --require-hashes -r $(1) 2>$(VENV)/uv.log \
	|| { echo "uv did not do it (see $(VENV)/uv.log); pip does, more slowly"; \
	     $(BIN)/python -m pip install --quiet --require-hashes -r $(1); }; }

$(VENV)/.boot: requirements/boot.txt
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
	|| { echo "$(PYTHON) is missing or older than 3.11; install Python 3.11, or name one: make PYTHON=python3.13"; exit 1; }
	@$(PYTHON) -m venv $(VENV) \
	|| { echo "$(PYTHON) cannot make $(VENV); on Debian and Ubuntu: apt-get install python3-venv"; exit 1; }
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r $<
	@touch $@

$(VENV)/.run: $(VENV)/.boot requirements/run.txt pyproject.toml
	@$(call install,requirements/run.txt)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	$(BIN)/python -c 'from reelmark.plan.search import compile_ahead; compile_ahead()'  # the planner's inner loop, once
	$(BIN)/python -c 'from reelmark.stations.window.inspect import compile_ahead; compile_ahead()'  # the camera's loops
	@touch $@

$(VENV)/.dev: $(VENV)/.run requirements/dev.txt
	@$(call install,requirements/dev.txt)
	@touch $@
