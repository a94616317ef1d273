# Plain GNU make. `make` alone lists the targets.
# Everything is made inside this folder: .venv, node_modules, static/build, build, var.

SHELL := /bin/bash
.SHELLFLAGS := -eu -o pipefail -c
.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
MAKEFLAGS += --no-print-directory

# The Python that makes the environment: PYTHON=… or the first that is new enough.
PYTHON ?= $(shell for p in python3 python3.11 python3.12 python3.13 python3.14; do \
	if "$$p" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then echo "$$p"; exit; fi; \
	done; echo python3)
PY := .venv/bin/python
UV_COMPILE := .venv/bin/uv pip compile pyproject.toml --universal --generate-hashes --no-config \
	--no-strip-extras --custom-compile-command "make lock" --quiet

TSC := node_modules/typescript/bin/tsc --project tsconfig.json

CORES ?= --numprocesses=auto --dist=worksteal
COVER ?= --cov --cov-report=term

PORT ?= 8000
SERVE ?= 1
ONLY ?=

SITE := SITE_ADDRESS=http://127.0.0.1:$(PORT) SIGNFLEET_BIND=127.0.0.1:$(PORT)
DEMO := SIGNFLEET_DEMO=1 DATABASE_URL=sqlite:///var/demo.sqlite3 $(SITE)

.PHONY: help setup demo run test lint format check verify bench faults lock assets clean

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / { printf "  make %-8s %s\n", $$1, $$2 }' $(MAKEFILE_LIST)

setup: ## make the environment (.venv) from the lock file; needs the network once
	@$(PYTHON) tools/bootstrap.py

assets: setup ## build the front-end files into static/build
	@$(PY) -m tools.build_assets

demo: assets ## load the demo scenario and serve it (SERVE=0: do not serve; PORT=8000)
	@mkdir -p var
	@$(DEMO) $(PY) manage.py migrate --no-input --verbosity 0
	@$(DEMO) $(PY) manage.py collectstatic --clear --no-input --verbosity 0
	@$(DEMO) $(PY) manage.py demo
	@if [ "$(SERVE)" != 0 ]; then exec env $(DEMO) .venv/bin/gunicorn --config signfleet/gunicorn.conf.py; fi

run: assets ## serve your own database (DATABASE_URL, else var/signfleet.sqlite3) for development
	@mkdir -p var
	@$(PY) manage.py migrate --no-input --verbosity 0
	@DEBUG=$${DEBUG:-1} $(SITE) $(PY) manage.py runserver 127.0.0.1:$(PORT)

test: assets ## run every test and show the coverage (COVER=: do not measure it)
	@$(PY) -m pytest $(CORES) $(COVER)
	@$(PY) -m tools.run_js_tests

lint: setup ## ruff, mypy, the layers, and the types of the scripts
	@.venv/bin/ruff format --check
	@.venv/bin/ruff check
	@.venv/bin/mypy
	@.venv/bin/lint-imports
	@$(PY) -m tools.build_assets --modules-only
	@if find static/js -name '*.js' | grep -q .; then $(PY) -m tools.node $(TSC); fi

format: setup ## put the code in the house's form
	@.venv/bin/ruff check --fix-only --quiet
	@.venv/bin/ruff format

check: lint verify ## everything CI asks: lint, migrations, deployment settings, tests

verify: setup ## migrations, deployment settings, tests: make check without lint
	@$(PY) manage.py makemigrations --check --dry-run
	@DEBUG=0 SIGNFLEET_DEMO=0 BEHIND_TLS=1 $(PY) manage.py check --deploy --fail-level WARNING
	@$(MAKE) test

bench: assets ## measure against the anchors (ONLY=stage: one stage)
	@$(PY) -m tests.bench $(if $(ONLY),--only $(ONLY))

faults: assets ## send 10,000 operations through every fault (OPERATIONS=n; ONLY=sqlite or postgres)
	@$(PY) -m tests.faults $(if $(OPERATIONS),--operations $(OPERATIONS)) $(if $(ONLY),--only $(ONLY))

lock: setup ## make the lock files again from pyproject.toml (UPGRADE=1: newest versions)
	@$(UV_COMPILE) $(if $(UPGRADE),--upgrade) --group assets --python-version 3.11 \
		--constraint tools/constraints-lts.txt --output-file requirements.lock
	@$(UV_COMPILE) $(if $(UPGRADE),--upgrade) --group assets --group dev --python-version 3.11 \
		--constraint tools/constraints-lts.txt --constraint requirements.lock \
		--output-file requirements-dev.lock
	@$(UV_COMPILE) $(if $(UPGRADE),--upgrade) --group assets --group dev --python-version 3.13 \
		--constraint tools/constraints-next.txt --output-file requirements-next.lock
	@$(PY) -m tools.node npm install --package-lock-only

clean: ## remove everything that was made, except var (your data)
	@rm -rf .venv .venv-next .venv.damaged node_modules static/build build .coverage htmlcov .mypy_cache .pytest_cache \
		.ruff_cache .hypothesis .import_linter_cache
	@find . -name __pycache__ -type d -not -path './.git/*' -prune -exec rm -rf {} +
