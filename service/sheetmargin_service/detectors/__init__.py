"""Detector classes by their physical parameters."""
