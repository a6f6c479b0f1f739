"""What age has done: condition, infer, verify, compare."""
