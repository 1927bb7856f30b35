"""What the logger says over its USB console while it records, and its self-test. Loaded when somebody asks."""
