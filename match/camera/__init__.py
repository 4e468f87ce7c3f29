"""What a shop knows of its own camera, from photos made for it."""
