"""Tests of the engines, and the circuits they share."""
