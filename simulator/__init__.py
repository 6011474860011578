"""An independent world of rooms, water, pumps, cysts and probes that publishes over MQTT."""
