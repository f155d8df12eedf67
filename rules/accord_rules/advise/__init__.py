"""Setpoints, order of pressings, plans, steps and remedies: what to do, once it is known what is allowed."""
