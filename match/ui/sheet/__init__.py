"""The pages of this step: sheet."""
