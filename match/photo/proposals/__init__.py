"""Where card, car and grey may lie on a photo without the sheet."""
