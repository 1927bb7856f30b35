"""By speed and load: passes, intervals, fuel map, comparison, repeatability."""
