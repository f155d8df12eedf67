"""The command ``accord``: for whoever runs the service, checks order files in bulk, or looks up a rule."""
