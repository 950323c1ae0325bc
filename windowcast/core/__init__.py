"""What everything else stands on: it imports nothing from the other packages."""
