"""What a worker answers from: one revision of the book, ready to be asked by many threads."""
