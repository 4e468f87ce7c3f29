"""One module a command: its arguments, and a function that calls the capability and prints."""
