"""Who may speak to the app from the shop's network, and how."""
