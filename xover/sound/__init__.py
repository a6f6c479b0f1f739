"""What can be read from a speaker with a network: sum, branches, changes, resonances, roles, where drivers meet."""
