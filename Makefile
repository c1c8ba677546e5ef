# `make demo` and `make test` need Python 3.11 or newer, make and a package registry.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test lint types imports clean
.DELETE_ON_ERROR:

demo: $(VENV)/demo.stamp
	$(BIN)/halfpower demo

test: $(VENV)/test.stamp
	$(BIN)/pytest --numprocesses=auto --maxprocesses=4

lint: $(VENV)/dev.stamp
	$(BIN)/ruff check
	$(BIN)/ruff format --check
	$(BIN)/codespell

# mypy does not see through an editable install's folder mapping; a plain copy it does.
types: $(VENV)/dev.stamp
	rm -rf build/copy && $(BIN)/pip install --quiet --no-deps --target build/copy .
	MYPYPATH=build/copy $(BIN)/mypy -p halfpower

imports: $(VENV)/dev.stamp
	$(BIN)/lint-imports

$(VENV)/pip.stamp:
	$(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --upgrade pip
	touch $@

# Each stamp installs more than the last; pyproject.toml says what.
$(VENV)/demo.stamp: pyproject.toml | $(VENV)/pip.stamp
	$(BIN)/pip install --quiet --editable '.[report]'
	touch $@

$(VENV)/test.stamp: pyproject.toml | $(VENV)/pip.stamp
	$(BIN)/pip install --quiet --editable '.[test]'
	touch $@ $(VENV)/demo.stamp

$(VENV)/dev.stamp: pyproject.toml | $(VENV)/pip.stamp
	$(BIN)/pip install --quiet --editable '.[dev]'
	touch $@ $(VENV)/test.stamp $(VENV)/demo.stamp

clean:
	rm -rf build dist halfpower-out *.egg-info $(VENV)
