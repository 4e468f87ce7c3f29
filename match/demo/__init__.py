"""Photos of an invented car, rendered with a known colour difference."""
