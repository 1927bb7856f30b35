# Everything goes through run.py, which builds .venv first when the requirements changed.
PYTHON ?= python3

.PHONY: demo test test-all bench docs lint hardware

demo test test-all bench docs lint hardware:
	@$(PYTHON) run.py $@
