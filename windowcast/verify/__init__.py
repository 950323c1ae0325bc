"""Measuring the models against observations."""
