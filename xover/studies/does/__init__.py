"""What the network does: load, angles, formula, sensitivity."""
