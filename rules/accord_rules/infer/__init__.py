"""From facts to fired rules: an engine that infers, and a judge that checks it."""
