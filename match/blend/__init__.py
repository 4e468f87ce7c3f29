"""How wide a fade must be, what the gun can lay down, and the plan for each side."""
