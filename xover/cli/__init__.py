"""One small module a command: parse, call, show."""
