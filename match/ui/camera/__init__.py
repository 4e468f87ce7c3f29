"""The pages of this step: camera."""
