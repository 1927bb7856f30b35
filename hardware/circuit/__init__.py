"""The circuit as data, and what is made from it: drawings, netlists, part lists, wiring tables, harness."""
