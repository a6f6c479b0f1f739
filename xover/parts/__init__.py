"""Parts that exist: preferred values, stock, coils, capacitor loss, pads; what age does to them."""
