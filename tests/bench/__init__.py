"""Measurements as commands, not tests: `python -m tests.bench` lists and runs them."""
