"""What the logger says over its USB console while it records. Loaded when somebody asks."""
