"""Test signals, and what recordings of them hold: sweeps, clocks, hum, and the ratio of two channels."""
