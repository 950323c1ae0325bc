"""Who is asked for weather: files, the station archive, forecasts, the site's own logger."""
