"""Timing of winter weed control in warm-season turf, answered from weather data.

Data flows one way: ``weather`` → ``season`` → ``windows`` → ``report``. Everything in the
middle is a pure function on NumPy arrays whose last axis is time.
"""

__version__ = "0.1.0"
