"""How the service is run: what may be set, logs, counters, times."""
