# Two commands do all the set-up: `make demo` and `make test`. Only Python 3.11+ and make are needed.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test slow without-compiler search faults fuzz lint docs clean

demo: $(VENV)/.installed
	$(BIN)/tankyear run scenarios/central-air.yaml --out out/central-air

# two at a time, and only then the tests, which use every core; what lands passes TESTS="not long"
TESTS ?= not slow and not long
test: $(VENV)/.installed-dev
	$(MAKE) --no-print-directory --jobs=2 lint $(COMPILED)
	$(BIN)/pytest -q -n auto --dist worksteal -m "$(TESTS)" --durations=15
	$(BIN)/tankyear regress scenarios --junit out/regress.xml

# whole years, other programs, processes that are killed: what a change must pass before it lands, beside `make test`
slow: without-compiler
	$(BIN)/pytest -q -n auto --dist worksteal -m "slow and not long" --durations=15

# the march is compiled once for each kind of source, before two tests wait for the same
COMPILED := compiled-packaged compiled-wastewater compiled-ground compiled-central-air
.PHONY: $(COMPILED)
$(COMPILED): compiled-%: $(VENV)/.installed-dev
	$(BIN)/tankyear run scenarios/$*.yaml --json > /dev/null

# the kernels as plain Python
KERNEL_TESTS := tests/storage/test_layers.py tests/storage/test_laws.py tests/plant/test_controls.py \
	tests/plant/test_flows.py tests/plant/test_steps_alike.py
without-compiler: $(VENV)/.installed-dev
	NUMBA_DISABLE_JIT=1 $(BIN)/pytest -q -m "not year and not long" $(KERNEL_TESTS)

# what takes long, every index of the march looked at, and property tests on more examples, drawn anew:
# for a change of the physics, and now and then
search: $(VENV)/.installed-dev
	$(BIN)/pytest -q -n auto --dist worksteal -m long
	NUMBA_DISABLE_JIT=1 $(BIN)/pytest -q -n auto -m "long and not year" tests/plant/test_steps_alike.py
	NUMBA_BOUNDSCHECK=1 $(BIN)/pytest -q -n auto tests/simulation/test_year.py tests/federal_test/test_rating.py -k "every_scenario_closes or step_hardly"
	$(BIN)/pytest -q -n auto --hypothesis-profile=fresh $$(grep -rl "^@given" tests)

# wrong lines in a copy of the package, one after the other, and whether a test sees each; an hour
faults: $(VENV)/.installed-dev
	$(BIN)/python benchmarks/seeded_faults.py

# every reader against mutated files, for so many minutes; what shows a fault is kept in out/fuzz, and the seed that
# is printed draws the same again: make fuzz FUZZ_SEED=...
FUZZ_MINUTES ?= 60
FUZZ_SEED ?=
fuzz: $(VENV)/.installed-dev
	FUZZ_MINUTES=$(FUZZ_MINUTES) FUZZ_SEED=$(FUZZ_SEED) $(BIN)/pytest -q -s -p no:xdist tests/hardening/test_fuzz.py -k some_minutes

lint: $(VENV)/.installed-dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

$(VENV)/.installed: pyproject.toml constraints.txt
	$(PYTHON) -c "import sys; sys.exit('tankyear needs Python 3.11 or newer') if sys.version_info < (3, 11) else None"
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --constraint constraints.txt --editable .
	touch $@

$(VENV)/.installed-dev: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --constraint constraints.txt --editable ".[dev]"
	touch $@

# the manual, with its lists of keys, results and verbs made from the code; a warning is an error
docs: $(VENV)/.installed-docs
	$(BIN)/sphinx-build -q -W --keep-going -d out/.doctrees docs out/docs

$(VENV)/.installed-docs: $(VENV)/.installed
	$(BIN)/python -m pip install --quiet --constraint constraints.txt --editable ".[docs]"
	touch $@

clean:
	rm -rf $(VENV) out build *.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis .benchmarks
