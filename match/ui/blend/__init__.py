"""The pages of this step: blend."""
