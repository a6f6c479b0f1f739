"""What the amplifier sees: load, ratings, power, faults."""
