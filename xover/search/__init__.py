"""Ways to look for better: descent, exchange, many builds, bands to fit a curve; it knows no folder and no words."""
