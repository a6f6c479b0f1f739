"""The sections of the page, one module each: `section(answers)` gives it."""
