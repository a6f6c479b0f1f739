"""Each driver on its own amplifier channel, behind an electronic crossover: is it safe, and what does it need?"""
