"""Sun, humidity and soil physics as pure functions on arrays."""
