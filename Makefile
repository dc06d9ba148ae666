# Everything a fresh machine needs: Python 3.11 or newer and make.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
RUN_READY := $(VENV)/.ready-run
TEST_READY := $(VENV)/.ready-test
PAGES_READY := node_modules/.ready
TSC := node_modules/.bin/tsc --project .
DEMO ?= demo-survey
SEED ?= 7

.DEFAULT_GOAL := help
.PHONY: help demo test browser check check-pages format docs bench bench-tools evidence lock clean

help:  ## list the targets
	@grep -E '^[a-z-]+:.*##' $(MAKEFILE_LIST) | sed -E 's/:[^#]*##/\t/' | expand -t 12

$(RUN_READY): pyproject.toml requirements.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
		|| { echo "lodewalk needs Python 3.11 or newer; set PYTHON=..."; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --constraint requirements.lock --editable .
	@touch $@

$(TEST_READY): $(RUN_READY)
	$(BIN)/python -m pip install --quiet --constraint requirements.lock --editable '.[test,check]'
	@touch $@

demo: $(RUN_READY)  ## write the demo survey, run the whole job, say where map and report are
	rm -rf $(DEMO)
	$(BIN)/lodewalk demo $(DEMO) --seed $(SEED)

test: $(TEST_READY) browser  ## run all tests
	$(BIN)/python -m pytest --numprocesses auto --maxprocesses 4 --dist loadfile

browser:  ## install the browser that the tests drive where it is missing; CHROMIUM=path names another
	@sh test/browser/install.sh

check: $(TEST_READY) check-pages  ## lint, format and type checks
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

check-pages:  ## check the types of the pages' scripts, where npm is there
	@if command -v npm >/dev/null; then $(MAKE) -s --no-print-directory $(PAGES_READY) && $(TSC); \
	else echo "npm is not here: the types of the pages' scripts are NOT checked."; fi

$(PAGES_READY): package.json
	npm install --no-package-lock --no-audit --no-fund --silent
	@touch $@

format: $(TEST_READY)  ## put all code into the one format
	$(BIN)/ruff check --fix-only .
	$(BIN)/ruff format .

docs: $(TEST_READY)  ## write the generated reference pages and schemas
	$(BIN)/python doc/generate.py

bench: $(TEST_READY)  ## measure times, side by side with general-purpose libraries
	$(BIN)/python bench/run.py

bench-tools:  ## install the mapping program that the bench of gridding compares with (Debian, as root)
	apt-get install -y -q --no-install-recommends gmt

evidence: $(TEST_READY)  ## long trials of coverage and floors
	$(BIN)/python bench/evidence.py

lock: $(TEST_READY)  ## write the versions now installed as the tested ones
	$(BIN)/python -m pip freeze --exclude-editable --exclude pip --exclude setuptools > requirements.lock

clean:  ## remove what make made
	rm -rf $(VENV) $(DEMO) .cache build dist node_modules
