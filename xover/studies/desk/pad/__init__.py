"""Which two resistors bring a driver down, or stand in for its old level control?"""
