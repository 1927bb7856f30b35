"""Analysis by engine speed and load: passes, intervals, fuel map, comparison, repeatability."""
