"""Weather in: readers, archive, forecast, cache; everything becomes one record schema."""
