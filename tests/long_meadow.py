"""A site file that takes its weather from the archive's station NEAR1, which a test serves."""

SITE = """\
name = "Long Meadow"
latitude = 30.5
longitude = -85.25
elevation_m = 70
timezone = "Etc/GMT+6"
[turf]
overseeded = false
mature = true
[soil]
texture = "clay loam"
[weather]
station = "NEAR1"
"""
