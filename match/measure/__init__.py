"""A photo becomes a colour difference with its uncertainty."""
