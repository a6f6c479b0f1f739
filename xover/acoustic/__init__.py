"""Drive times response: the acoustic sum and what is read from it."""
