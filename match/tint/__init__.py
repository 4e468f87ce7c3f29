"""Which toner, how much, and whether the last tint moved the right way."""
