"""The demo's car: an invented engine, driver and instruments as signal files."""
