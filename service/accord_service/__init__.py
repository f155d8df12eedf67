"""The service: the settings authority over HTTP. It reads requests, asks ``accord_rules``, and writes answers."""
