"""Spray-out Match: is this mixed colour close enough for the room there is."""
