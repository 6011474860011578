"""How good the forecasts are: recorded batches with a known outcome, run through the core and scored."""
