# Everything goes through run.py, which builds .venv first when the requirements changed.
PYTHON ?= python3

.PHONY: demo test test-all bench docs lint hardware board

demo test test-all bench docs lint hardware board:
	@$(PYTHON) run.py $@
