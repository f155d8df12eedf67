"""What changes the store: a proposal on its way, records and outcomes, calibration, shops and keys."""
