"""The exact transfer functions as formulas, and what can be read off them."""
