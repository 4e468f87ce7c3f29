"""How many coats: hiding cards and let-down cards."""
