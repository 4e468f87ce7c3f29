"""One file a step; ``m0001_name.py`` is revision ``0001``."""
