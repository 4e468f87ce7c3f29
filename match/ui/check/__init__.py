"""The pages of this step: check."""
