"""An invented car: its photos, rendered with a known colour difference, and a pot to tint for it."""
