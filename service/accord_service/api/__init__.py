"""The addresses: ``v1`` is the API, ``watch`` is for whoever runs the service."""
