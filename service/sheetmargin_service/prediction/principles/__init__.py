"""Sensing principles, one module each."""
