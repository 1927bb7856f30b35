"""What the car's own computers say: loaded only where logger.json has channels of kind obd or can."""
