"""Every colour ever matched, kept safely."""
