"""What a person needs at the bench: wiring, build order, cautions, paperwork, what is missing, figures in words."""
