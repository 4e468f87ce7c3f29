"""The guided first check: the app's own pages on the demo photo, with one sentence at the top of what to do now."""
