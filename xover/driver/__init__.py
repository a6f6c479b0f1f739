"""A driver: measured curves, fitted electrical model, minimum phase, piston directivity."""
