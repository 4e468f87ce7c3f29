"""The page of the phone on the shop's network."""
