"""How many examples a property test draws."""

from hypothesis import settings


def examples(count, **more):
    """Decorator: `count` examples where new ones are drawn in every run, a third where they are always the same."""
    return settings(max_examples=max(1, count // 3) if settings().derandomize else count, **more)
