"""Files to a checked book: every fault told with file and field, every rule tried on its own examples."""
