# Needs Python 3.11 or newer and make; everything else is installed into $(VENV).
#   make demo   reads the shipped rubbing and prints where its pattern is
#   make test   runs the tests
#   make quick ROOM=laying  runs the tests of one room and those of the structure of the house
#   make lint   runs the checks of style and types
#   make docs   writes the pages and the picture of docs/ that are made with the program
#   make wheel  builds the wheel, dist/rubbing2pattern-VERSION-py3-none-any.whl
#   make bill   installs that wheel alone and lists what came with it, in CycloneDX:
#               dist/rubbing2pattern-VERSION.cdx.json

PYTHON ?= python3
VENV ?= .venv
BIN := $(VENV)/bin
DEMO_FOLDER ?= demo-output
BILL_VENV ?= $(VENV)-bill
VERSION = $(shell sed -n 's/^__version__ = "\(.*\)"/\1/p' rubbing2pattern/_version.py)
WORKERS ?= auto

# The tests of a room lie where the room lies; a room within a room, or one module, is named with a
# stroke: ROOM=stages/rectify, ROOM=workflows/batch, ROOM=units.
ROOM ?=
OF_ROOM = $(if $(ROOM),$(wildcard tests/$(ROOM) $(dir tests/$(ROOM))test_$(notdir $(ROOM)).py))
# A worker takes a whole file of tests, so that what they share is read and drawn once.
PYTEST = $(BIN)/python -m pytest -n $(WORKERS) --dist loadfile

.PHONY: demo test quick lint docs wheel bill clean

demo: $(VENV)/installed
	$(BIN)/rubbing2pattern demo --overwrite -o $(DEMO_FOLDER)

test: $(VENV)/installed-dev
	$(PYTEST)

quick: $(VENV)/installed-dev
	@test -n "$(OF_ROOM)" || \
	  { echo "no tests of the room '$(ROOM)'; say which of tests/: make quick ROOM=laying" >&2; exit 1; }
	$(PYTEST) tests/structure $(OF_ROOM)

lint: $(VENV)/installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

docs: $(VENV)/installed-dev
	$(BIN)/python docs/dxf_frame.py
	$(BIN)/python docs/generate.py
	$(BIN)/python docs/picture.py
	$(BIN)/python docs/review_picture.py

wheel: | $(BIN)/python
	$(BIN)/python -m pip wheel --quiet --no-deps --wheel-dir dist .
	@ls dist/rubbing2pattern-*.whl

# The environment that is listed holds the program and what it needs, not even pip. The tool knows
# no version that is read from a file, so it is written out for it.
bill: wheel
	$(BIN)/python -m pip install --quiet --editable '.[release]'
	rm -rf $(BILL_VENV)
	$(PYTHON) -m venv --without-pip $(BILL_VENV)
	$(BIN)/python -m pip --python $(BILL_VENV) install --quiet dist/rubbing2pattern-*.whl
	sed 's/^dynamic = .*/version = "$(VERSION)"/' pyproject.toml > $(BILL_VENV)/pyproject.toml
	$(BIN)/cyclonedx-py environment --pyproject $(BILL_VENV)/pyproject.toml --output-reproducible \
	  --output-file dist/rubbing2pattern-$(VERSION).cdx.json $(BILL_VENV)/bin/python
	@ls dist/rubbing2pattern-*.cdx.json

clean:
	rm -rf $(VENV) $(BILL_VENV) $(DEMO_FOLDER)

$(BIN)/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Python 3.11 or newer is needed; say which: make PYTHON=python3.11 ..." >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/installed: pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --editable '.[review]'
	@touch $@

$(VENV)/installed-dev: pyproject.toml | $(BIN)/python
	$(BIN)/python -m pip install --quiet --editable '.[dev]'
	@touch $@ $(VENV)/installed
