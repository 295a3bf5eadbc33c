# One command each: `make demo` runs the main job, `make test` passes every check.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
STAMP  := $(VENV)/.ready

.PHONY: setup demo test lock bench fuzz clean

setup: $(STAMP)

$(STAMP): requirements/dev.txt pyproject.toml
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Squibwise needs Python 3.11 or newer: make PYTHON=/path/to/python3.11"; exit 2; }
	test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --require-hashes -r requirements/dev.txt
	$(BIN)/pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	touch $@

demo: $(STAMP)
	@$(BIN)/squibwise demo

test: $(STAMP)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/deptry src
	$(BIN)/squibwise catalog --check
	$(BIN)/pytest -n auto

lock:
	$(BIN)/python -m pip install --quiet uv
	$(BIN)/uv pip compile pyproject.toml --extra dev --extra bus --universal --generate-hashes --no-annotate --no-header -q -o requirements/dev.txt
	$(BIN)/uv pip compile pyproject.toml --universal --generate-hashes --no-annotate --no-header -q -o requirements/base.txt
	$(BIN)/uv pip compile pyproject.toml --extra fuzz --universal --generate-hashes --no-annotate --no-header -q -o requirements/fuzz.txt

bench: $(STAMP)
	$(BIN)/python bench/inference.py --json
	$(BIN)/python bench/isolation.py --json
	$(BIN)/python bench/commands.py --json
	$(BIN)/python bench/scoring.py --json

fuzz: $(STAMP)
	$(BIN)/pip install --quiet --disable-pip-version-check --require-hashes -r requirements/fuzz.txt
	$(BIN)/python tests/fuzz/fuzz_reports.py -max_total_time=120

clean:
	rm -rf $(VENV) out
