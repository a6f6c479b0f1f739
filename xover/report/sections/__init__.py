"""The sections of the page by part of the page: each a function of the answers that gives a `Section`."""
