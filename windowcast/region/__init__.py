"""Many stations and years: engine, comparison, bulk readers."""
