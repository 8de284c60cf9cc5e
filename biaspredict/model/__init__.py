"""Frozen records: parts, devices, stages, readings, and the circuit an engine solves."""
