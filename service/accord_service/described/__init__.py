"""What the API says of itself: its description in OpenAPI."""
