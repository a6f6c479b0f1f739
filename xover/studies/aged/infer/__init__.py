"""Infer part values from sweeps."""
