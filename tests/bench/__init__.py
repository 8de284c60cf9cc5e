"""Benchmarks: `python -m tests.bench` prints one table of this machine, ratios included."""
