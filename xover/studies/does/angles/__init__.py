"""What is heard off the axis: the sum above, below and to the side, and where its lobe points at each crossover."""
