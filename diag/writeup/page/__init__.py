"""How a story stands on paper, on a screen or in a file, for each reader."""
