"""A photo file becomes an upright picture whose rectangles can be read in linear light, and shows where to look."""
