"""Asking the rules: of an order, each of its decorations and each pressing, and in which order these go."""
