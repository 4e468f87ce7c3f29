"""The photo on the bench and the marks on it."""
