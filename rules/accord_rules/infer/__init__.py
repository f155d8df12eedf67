"""From facts to fired rules: one grammar of conditions, an engine that infers, and a judge that checks it."""
