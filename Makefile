# Thin names for run.py, which does its own set-up.
PYTHON ?= python3

.PHONY: demo test lock

demo:
	$(PYTHON) run.py demo

test:
	$(PYTHON) run.py test

# After a change of the dependencies in pyproject.toml; needs uv.
LOCK = uv pip compile --no-config --python-version 3.11 --universal --generate-hashes --no-header --no-annotate
lock:
	$(LOCK) pyproject.toml --group build -o requirements.lock
	$(LOCK) pyproject.toml --group build --group dev -c requirements.lock -o requirements-dev.lock
