"""One engine that explains measurements by values, faults and drivers."""
