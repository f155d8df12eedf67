"""Text to data and back, once for the whole house: units, colours, reading, writing, canonical form, the files."""
