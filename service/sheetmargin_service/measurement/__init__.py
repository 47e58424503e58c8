"""Readings from a bench or a machine: fit and diagnose."""
