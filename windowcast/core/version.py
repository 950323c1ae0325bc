"""The version of the program; packaging reads it here."""

__version__ = "0.1.0"
