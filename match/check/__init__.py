"""One photo and its marks become a verdict."""
