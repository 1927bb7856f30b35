"""Power at the wheels, an estimate with its interval."""
