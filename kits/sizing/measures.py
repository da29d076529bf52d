"""Checking measures before sums are made with them. Pure."""

import math


class ImpossibleMeasure(ValueError):
    """A measure no jaw has: negative, not a number, or beyond a sane limit. Carries its name and value."""

    def __init__(self, name: str, value: object, reason: str) -> None:
        self.name = name
        self.value = value
        super().__init__(f"The {name} cannot be {value}: {reason}.")


def checked(name: str, value: float, *, positive: bool = False) -> float:
    """The value if it is a finite number, not below zero (or above zero if ``positive``).

    Raises ImpossibleMeasure with the name as a person would say it.
    """
    if not math.isfinite(value):
        raise ImpossibleMeasure(name, value, "it has to be a number")
    if value < 0 or (positive and value == 0):
        raise ImpossibleMeasure(name, value, "it has to be above zero" if positive else "it is below zero")
    return value
