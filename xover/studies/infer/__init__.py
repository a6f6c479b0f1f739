"""Part values from sweeps at the terminals: what each part is worth, and what cannot be seen from there."""
