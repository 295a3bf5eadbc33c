# One command each: `make demo` runs the main job, `make test` passes every check.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
BASE   := $(VENV)/.base
FULL   := $(VENV)/.full
PIP    := $(BIN)/pip --disable-pip-version-check --quiet
LOCKED := install --no-deps --require-hashes -r

# Checks start the program some hundred times: each start would compile every module anew.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo setup test wheel lock bench cluster fuzz stress mutate clean

# What the program needs, and no more: some twenty packages.
$(BASE): requirements/base.txt pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Squibwise needs Python 3.11 or newer: make PYTHON=/path/to/python3.11"; exit 2; }
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(PIP) $(LOCKED) requirements/base.txt
	$(PIP) install --no-deps --no-build-isolation -e .
	touch $@

# What its checks need besides.
$(FULL): requirements/dev.txt $(BASE)
	$(PIP) $(LOCKED) requirements/dev.txt
	touch $@

# The pages are tried in a real browser: Debian's own, installed here when that may be done.
$(VENV)/.browser: $(FULL)
	@command -v chromium chromium-browser google-chrome >/dev/null || \
		{ test "$$(id -u)" = 0 && command -v apt-get >/dev/null && apt-get update -qq && \
		apt-get install -y -qq --no-install-recommends chromium >/dev/null; } || \
		{ echo "The pages are tried in Chromium, which is missing: install it (Debian: apt-get install chromium)."; exit 2; }
	touch $@

demo: $(BASE)
	@$(BIN)/squibwise demo

setup: $(FULL)

test: $(FULL) $(VENV)/.browser
	$(BIN)/python requirements/check_lock.py requirements/base.txt build
	$(BIN)/python requirements/check_lock.py requirements/dev.txt build dev bus
	$(BIN)/pip check
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/deptry src
	$(BIN)/squibwise catalog --check
	$(BIN)/mkdocs build --strict --quiet --site-dir $(abspath $(VENV))/site
	$(BIN)/pytest -n auto --dist loadscope

wheel: $(BASE)
	$(BIN)/python -m flit_core.wheel --outdir dist

# The locks hold for every Python and system; they are installed as they are, without a resolver.
COMPILE := uv pip compile pyproject.toml --universal --generate-hashes --no-annotate --no-header -q
lock: $(BASE)
	$(PIP) install uv
	$(BIN)/$(COMPILE) --extra build -o requirements/base.txt
	$(BIN)/$(COMPILE) --extra build --extra dev --extra bus -o requirements/dev.txt
	$(BIN)/$(COMPILE) --extra fuzz -o requirements/fuzz.txt
	$(BIN)/$(COMPILE) --extra dev --extra mutation -o requirements/mutation.txt

bench: $(FULL)
	$(BIN)/python bench/inference.py --json
	$(BIN)/python bench/isolation.py --json
	$(BIN)/python bench/commands.py --json
	$(BIN)/python bench/scoring.py --json
	$(BIN)/python bench/web.py --json

fuzz: $(FULL)
	$(PIP) $(LOCKED) requirements/fuzz.txt
	$(BIN)/python tests/fuzz/fuzz_reports.py -max_total_time=120

# Kill, fill, forbid and falsify; about an hour. What it found stands in docs/trust.md.
stress: $(FULL)
	$(BIN)/python tests/stress/stress.py
	$(BIN)/python tests/stress/hostile_inputs.py

# Screening under a distributed engine, a worker killed half way. The engine is brought along: no
# lock of ours holds it.
cluster: $(FULL)
	$(PIP) install 'distributed>=2025.1'
	$(BIN)/pytest -q -s -m slow tests/plan/test_cluster.py

# Change the code and see whether a test notices; what it found stands in docs/mutation.md.
mutate: $(FULL)
	$(PIP) $(LOCKED) requirements/mutation.txt
	$(BIN)/mutmut run --max-children 2
	$(BIN)/mutmut results

clean:
	rm -rf $(VENV) out dist mutants
