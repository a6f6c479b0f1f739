"""The network with its drivers as a netlist for any SPICE: measured drivers as the circuits fitted to them."""
