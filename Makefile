# `make demo` and `make test` need Python 3.11 or newer, make and a package registry.
# Another Python than python3: `make test PYTHON=python3.13`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
LOG := $(VENV)/install.log

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
# Without build/ gone, setuptools would copy what no longer exists, too.
types: $(VENV)/dev.stamp
	rm -rf build && $(BIN)/pip install --quiet --no-deps --target build/copy .
	MYPYPATH=build/copy $(BIN)/mypy -p halfpower

imports: $(VENV)/dev.stamp
	$(BIN)/lint-imports

# What is missing is said in one sentence; pip's own words go to a log.
stop = { echo "make: $(1)" >&2; exit 1; }
no_python := there is no $(PYTHON) here; install Python 3.11 or newer or name one: PYTHON=
old_python := $(PYTHON) is older than Python 3.11; name a newer one: PYTHON=
no_venv := $(PYTHON) lacks its venv module; install it (on Debian: python3-venv)
no_network := no package registry was reached: is the network there? ($(LOG))
not_installed := that did not install; the whole story is in $(LOG)
install = @echo "installing $(1) into $(VENV)"; $(BIN)/pip install $(2) >$(LOG) 2>&1 || \
	{ if grep -qE 'NewConnection|NameResolution|ConnectTimeout|ProxyError' $(LOG); \
	  then $(call stop,$(no_network)); \
	  else grep -i '^error' $(LOG) >&2; $(call stop,$(not_installed)); fi; }

# The environment is made anew when PYTHON is named and is not the one it was made with.
named := $(filter command environment,$(firstword $(origin PYTHON)))
$(VENV)/python.stamp: $(if $(named),FORCE)
	@$(PYTHON) -c '' 2>/dev/null || $(call stop,$(no_python))
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  $(call stop,$(old_python))
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || $(call stop,$(no_venv))
	@version=$$($(PYTHON) -c 'import sys; print(sys.version)'); \
	if [ "$$version" != "$$(cat $@ 2>/dev/null)" ]; then \
	  $(PYTHON) -m venv --clear $(VENV) && echo "$$version" >$@; fi

FORCE:

$(VENV)/pip.stamp: $(VENV)/python.stamp
	$(call install,pip,--upgrade pip)
	@touch $@

# Each stamp installs more than the last; pyproject.toml says what.
$(VENV)/demo.stamp: pyproject.toml $(VENV)/pip.stamp
	$(call install,halfpower,--editable '.[report]')
	@touch $@

# The wheel of a PostgreSQL server is a convenience: without it the tests take the
# distribution's server, or say why they are skipped.
$(VENV)/test.stamp: pyproject.toml $(VENV)/pip.stamp
	$(call install,halfpower and its tests,--editable '.[test]')
	@$(BIN)/pip install --group server >>$(LOG) 2>&1 || \
	  echo "no wheel of a PostgreSQL server for this platform: see pytest's skips"
	@touch $@ $(VENV)/demo.stamp

$(VENV)/dev.stamp: pyproject.toml $(VENV)/test.stamp
	$(call install,halfpower and its developer's tools,--editable '.[dev]')
	@touch $@ $(VENV)/test.stamp $(VENV)/demo.stamp

clean:
	rm -rf build dist halfpower-out *.egg-info $(VENV)
