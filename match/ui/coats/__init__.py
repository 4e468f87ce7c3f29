"""The pages of this step: coats."""
