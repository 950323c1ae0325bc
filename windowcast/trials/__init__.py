"""Statistics of plot trials: pure functions on arrays; who reads and shows trials stands above."""
