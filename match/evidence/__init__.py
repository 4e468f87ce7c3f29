"""Evidence from more than one photo or region: repeats, swaps, angles, lamps, texture, hiding, let-down cards."""
