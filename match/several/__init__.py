"""Several photos of one card and one car become one verdict: repeats, swaps, angles, lamps, texture."""
