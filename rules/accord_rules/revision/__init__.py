"""One checked revision of the book in memory: catalogue, rules, limits, and the words that rules are written in."""
