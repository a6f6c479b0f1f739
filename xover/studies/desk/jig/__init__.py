"""A driver's impedance from what an impedance jig measured: how sure is it?"""
