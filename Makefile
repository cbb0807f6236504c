# make demo   runs the main job on an invented room, no hardware needed
# make test   runs every test; make lint the style and type checks; make bench the measurements
# make readme puts the demo's output and chart into the README; make study the study of a simulated year;
#             make screenshots draws docs/page-*.png
# make run    starts the bridge with ./baskline.toml

PYTHON ?= python3
BIN := .venv/bin
# Chromium looks at the page, Pango sets the report.
TEST_PACKAGES := mosquitto openssl victoria-metrics influxdb chromium curl libpango-1.0-0 libpangoft2-1.0-0 \
    libharfbuzz-subset0

.PHONY: demo test lint bench run readme study screenshots clean

demo: .venv/for-use
	$(BIN)/baskline demo

run: .venv/for-use
	$(BIN)/baskline run

test: .venv/for-test
	tools/debian-packages $(TEST_PACKAGES)
	BASKLINE_SCREENSHOTS=$(CURDIR)/test-artifacts $(BIN)/pytest -n 2 --dist loadfile

lint: .venv/for-test
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/lint-imports

bench: .venv/for-test
	tools/debian-packages $(TEST_PACKAGES)
	$(BIN)/python -m tests.bench

# What the README shows of the demo, from the demo itself.
readme: .venv/for-use
	$(BIN)/python tools/readme-demo

study: .venv/for-test
	$(BIN)/python tools/readme-study

# The pictures of the page, by Debian's Chromium.
screenshots: .venv/for-test
	tools/debian-packages chromium
	$(BIN)/python tools/screenshots

clean:
	rm -rf .venv demo demo-live test-artifacts

.venv/bin/python:
	$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || tools/debian-packages python3-venv
	$(PYTHON) -m venv .venv

.venv/for-use: pyproject.toml | .venv/bin/python
	@echo 'Installing into .venv: a minute or two.'
	$(BIN)/pip install --quiet --editable '.[charts,fits,flash,page,report]'
	touch $@

# The open drivers are taken without what they ask for, a board package that only a board needs.  The WebAssembly
# interpreter is a second opinion on the firmware, where there is a Node.js to run it.
.venv/for-test: pyproject.toml tests/reference/open-drivers.txt | .venv/bin/python
	@echo 'Installing into .venv what the tests need: some minutes.'
	$(BIN)/pip install --quiet --editable '.[test]'
	$(BIN)/pip install --quiet --no-deps -r tests/reference/open-drivers.txt
	if command -v npm >/dev/null; then npm install --silent --no-audit --no-fund --no-save --prefix .venv \
	    @micropython/micropython-webassembly-pyscript@1.27.0; fi
	touch $@
