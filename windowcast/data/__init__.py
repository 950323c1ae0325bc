"""Science tables (TOML) and schemas; read them through `windowcast.values.load`."""
