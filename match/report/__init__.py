"""Things to print: the job sheet and the capture sheet."""
