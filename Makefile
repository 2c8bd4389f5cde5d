# The machine needs python3 and make; everything else is set up here.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.set-up

.PHONY: help setup demo test slow accuracy evaluate check speed fuzz commands refusals docs clean

help:  ## what there is to make
	@grep -hE '^[a-z]+:.*##' $(MAKEFILE_LIST) | sed -E 's/^([a-z]+):.*## (.*)/make \1	\2/' | expand -t 14

setup: $(STAMP)  ## make .venv and install everything, a browser for the tests too where that may be done

$(STAMP): pyproject.toml requirements/development.txt
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	if command -v uv >/dev/null 2>&1; then \
	  VIRTUAL_ENV=$(VENV) uv pip install --quiet -r requirements/development.txt && VIRTUAL_ENV=$(VENV) uv pip install --quiet --no-deps -e .; \
	else \
	  $(BIN)/python -m pip install --quiet --disable-pip-version-check -r requirements/development.txt && \
	  $(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps -e .; \
	fi
	sh requirements/browser.sh
	touch $@

demo: setup  ## build and publish the demo case into demo/
	$(BIN)/earwitness demo demo

# Two workers, so no threads of the linear algebra's own.
PYTEST := OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest

test: setup  ## the tests, the browser's too
	$(PYTEST) -n 2 --dist loadfile -m "not slow and not alone"

slow: setup  ## the tests that take long, and those of time, one by one
	$(PYTEST) -n 2 -m "slow and not alone"
	$(PYTEST) -m alone

accuracy: setup  ## 200 seeded cases against their physics: do the bands contain the truth?
	PYTHONPATH=tests OPENBLAS_NUM_THREADS=1 $(BIN)/python -m accuracy.run

evaluate: setup  ## features and causes of seeded loudspeakers against what is true of them
	PYTHONPATH=tests OPENBLAS_NUM_THREADS=1 $(BIN)/python -m evaluation.run

check: setup  ## format, lint, types, floors, docs
	$(BIN)/ruff format --check src tests
	$(BIN)/ruff check src tests
	$(BIN)/mypy
	$(BIN)/lint-imports
	NO_MKDOCS_2_WARNING=1 $(BIN)/mkdocs build --quiet --strict --site-dir site

speed: setup  ## ratios against a floor that is measured in the same run
	PYTHONPATH=tests $(BIN)/python tests/speed/measure.py

SECONDS ?= 600
fuzz: setup  ## every reader on damaged files, guided by coverage: SECONDS=600 each, two at a time
	PYTHONPATH=tests $(BIN)/python -m fuzz.run --seconds $(SECONDS)

commands: setup  ## docs/commands.md again, from the program itself
	$(BIN)/python -m earwitness.cli.reference > docs/commands.md

refusals: setup  ## docs/refusals.md again, from the tests
	PYTHONPATH=tests $(BIN)/python -m hostile.refusals > docs/refusals.md

docs: setup  ## the documentation as pages in site/
	NO_MKDOCS_2_WARNING=1 $(BIN)/mkdocs build --strict --site-dir site

clean:  ## remove what was made, except .venv
	rm -rf demo site .pytest_cache .mypy_cache .ruff_cache .import_linter_cache
