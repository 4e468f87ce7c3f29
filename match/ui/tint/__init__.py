"""The pages of this step: tint."""
