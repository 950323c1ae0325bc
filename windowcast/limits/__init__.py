"""What the turf takes: limits on a treatment that no weather outvotes."""
