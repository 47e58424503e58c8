"""Computes which detector tells one sheet from two, and how to set it."""
