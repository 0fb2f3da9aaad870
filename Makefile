# Needs Python 3.11 or newer and make; everything else is installed into $(VENV).
#   make demo   reads the shipped rubbing and tells where its pattern lies
#   make test   runs the tests
#   make lint   runs the checks of style and types
#   make docs   writes the pages and the picture of docs/ that are made with the program
#   make wheel  builds the wheel, dist/rubbing2pattern-VERSION-py3-none-any.whl

PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
DEMO_FOLDER ?= demo-output
WORKERS ?= auto

.PHONY: demo test lint docs wheel clean

demo: $(VENV)/installed
	$(BIN)/rubbing2pattern demo --overwrite -o $(DEMO_FOLDER)

test: $(VENV)/installed-dev
	$(BIN)/python -m pytest -n $(WORKERS)

lint: $(VENV)/installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

docs: $(VENV)/installed-dev
	$(BIN)/python docs/generate.py
	$(BIN)/python docs/picture.py

wheel: | $(BIN)/python
	$(BIN)/python -m pip wheel --quiet --no-deps --wheel-dir dist .
	@ls dist/rubbing2pattern-*.whl

clean:
	rm -rf $(VENV) $(DEMO_FOLDER)

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Python 3.11 or newer is needed; say which: make PYTHON=python3.11 ..." >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/installed: pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --editable .
	@touch $@

$(VENV)/installed-dev: pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --editable '.[dev]'
	@touch $@ $(VENV)/installed
