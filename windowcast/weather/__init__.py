"""What the weather says: quality, gaps, one axis, hours from days, and the futures ahead."""
