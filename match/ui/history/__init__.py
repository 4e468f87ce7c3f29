"""The pages of this step: history."""
