"""What programme at full level does to the parts: watts, volts and amperes, and which ratings that needs."""
