"""Invented drivers and recordings that do not share the assumptions of what is tested on them."""
