"""The bench that outlives a visit: whose it is, what lies on it, kept at every change and offered on coming back."""
