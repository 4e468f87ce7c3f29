"""The printed capture sheet, and finding it on a photo."""
