"""What comes in over MQTT: the session with the broker and the decoders of payloads."""
