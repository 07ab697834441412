# make demo    the main job on an invented practice, from scratch, told in the terminal
# make serve   the service on its own database in var/
# make test    the tests, on the embedded default and on the services that DATABASE_URL and REDIS_URL name
# make check   style, types, layers, migrations, settings and the committed API schema
# make long    the tests that take minutes
# make faults  the fault bench: fails everything once, one after the other, and prints what that cost
# make schema  rewrites api/openapi.yaml
# make audit   known faults of the locked packages; needs an index that publishes them
# make lock    rewrites the lock files from pyproject.toml (needs uv)

PYTHON ?= python3
BIN := .venv/bin
EMBEDDED := env -u DATABASE_URL -u REDIS_URL
PYTEST := $(BIN)/python -m pytest
IN_PRODUCTION := $(EMBEDDED) PRODUCTION=true SECRET_KEY="$$($(PYTHON) -c 'import secrets; print(secrets.token_hex(32))')" \
	ALLOWED_HOSTS=forbear.example PUBLIC_URL=https://forbear.example
SPECTACULAR := $(EMBEDDED) $(BIN)/python manage.py spectacular --validate --fail-on-warn

# A second reader of calendars, for the tests; without npm, or offline, its suite is named as not run.
ICAL_JS := tests/ical_js/node_modules/.package-lock.json
$(ICAL_JS): tests/ical_js/package-lock.json
	-npm ci --prefix tests/ical_js --no-audit --no-fund && touch $@

demo: .venv/requirements.lock
	$(BIN)/python manage.py demo

serve: .venv/requirements.lock
	$(BIN)/python manage.py serve

test: .venv/requirements-dev.lock $(if $(shell command -v npm),$(ICAL_JS))
	$(EMBEDDED) $(PYTEST)
ifneq ($(DATABASE_URL)$(REDIS_URL),)
	$(PYTEST)
endif

long: .venv/requirements-dev.lock
	$(PYTEST) -m long

faults: .venv/requirements-dev.lock
	$(EMBEDDED) $(PYTEST) -m faults tests/faults
ifneq ($(DATABASE_URL),)
	$(PYTEST) -m faults tests/faults/nth
endif

check: .venv/requirements-dev.lock
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(EMBEDDED) $(BIN)/python manage.py makemigrations --check --dry-run
	$(EMBEDDED) $(BIN)/python -m tests.lint_migrations
	$(IN_PRODUCTION) $(BIN)/python manage.py check --deploy --fail-level WARNING
	$(BIN)/bandit --quiet --recursive --configfile pyproject.toml api coaching 2>.venv/bandit.log || { cat .venv/bandit.log; exit 1; }
	$(SPECTACULAR) --file .venv/openapi.yaml
	diff -u api/openapi.yaml .venv/openapi.yaml

audit: .venv/requirements-dev.lock
	$(BIN)/pip-audit --requirement requirements.lock --require-hashes --disable-pip

schema: .venv/requirements-dev.lock
	$(SPECTACULAR) --file api/openapi.yaml

LOCK := uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
	--no-strip-extras --no-emit-index-url --no-header --no-annotate pyproject.toml
lock:
	$(LOCK) --output-file requirements.lock
	$(LOCK) --constraint requirements.lock --group dev --group fuzz --output-file requirements-dev.lock

# .venv holds a copy of each lock that it was made from; only other content installs again.
.venv/%.lock: %.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
		{ echo "Forbear needs Python 3.11 or newer; name one with PYTHON=/path/to/python3."; exit 1; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || \
		{ echo "Python's venv module is missing; install it first (Debian and Ubuntu: apt install python3-venv)."; exit 1; }
	@test -x $(BIN)/python || $(PYTHON) -m venv .venv
	@cmp -s $< $@ || $(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r $<
	@cp $< $@

.PHONY: demo serve test long faults check audit schema lock
