"""Caterpillar droppings on a day photo."""
