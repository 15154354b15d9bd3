# Each target does its own set-up on a fresh machine: environment, lock, project.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
DEV_STAMP := $(VENV)/.installed-dev
PIP := $(BIN)/python -m pip --disable-pip-version-check install -q

.PHONY: codebook rules demo test lint wheel bench oracles lock clean

demo: $(STAMP)
	$(BIN)/sulca demo demo-study

test: $(DEV_STAMP)
	$(BIN)/python -m pytest -n auto --dist loadfile

lint: $(DEV_STAMP)
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/pyright
	$(BIN)/lint-imports

# The wheel in an environment of its own, called from another folder.
wheel: $(DEV_STAMP)
	rm -rf build/wheel && mkdir -p build/wheel
	$(BIN)/python -m build --wheel --no-isolation --outdir build/wheel .
	$(PYTHON) -m venv build/wheel/env
	build/wheel/env/bin/python -m pip --disable-pip-version-check install -q --require-hashes -r requirements.lock
	build/wheel/env/bin/python -m pip --disable-pip-version-check install -q --no-deps build/wheel/*.whl
	cd build/wheel && env/bin/sulca --help >/dev/null && env/bin/sulca new study >/dev/null
	rm -rf build/wheel

bench: $(DEV_STAMP)
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest tests/benchmarks -s -p no:cacheprovider --override-ini "norecursedirs=.* build dist"

# Reference values from R; on Debian: apt-get install r-base-core and
# r-cran-survival, -mass, -cmprsk, -lme4, -geepack.
oracles:
	cd tests/oracles && for script in *.R; do echo "$$script" && Rscript --vanilla "$$script" || exit 1; done

lock:
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
	  pyproject.toml -o requirements.lock -q
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
	  pyproject.toml --group dev -c requirements.lock -o requirements-dev.lock -q

$(VENV)/bin/python:
	$(PYTHON) -m venv $(VENV)

$(STAMP): requirements.lock pyproject.toml | $(VENV)/bin/python
	$(PIP) --require-hashes -r requirements.lock
	$(PIP) --no-deps -e .
	touch $@

$(DEV_STAMP): requirements-dev.lock pyproject.toml | $(VENV)/bin/python
	$(PIP) --require-hashes -r requirements-dev.lock
	$(PIP) --no-deps --no-build-isolation -e .
	touch $@ $(STAMP)

clean:
	rm -rf $(VENV) build demo-study

# After a change of shared/codebook/*.csv: keep its declarations under their new version.
codebook: $(DEV_STAMP)
	$(BIN)/python -m schemas.keep_codebook

# The list of all rules in docs/rules.md.
rules: $(DEV_STAMP)
	$(BIN)/python -m schemas.keep_rule_list
