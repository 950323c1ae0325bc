"""Science tables (TOML) and schemas; read them through `windowcast.core.values.load`."""
