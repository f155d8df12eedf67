"""What an order and a shop say: the shapes of what comes in."""
