"""Do the marks lie on what they are said to lie on? Evidence of the photo for and against, weighed."""
