"""Where to look on a photo without marking it by hand: the printed capture sheet, and proposals from the picture."""
