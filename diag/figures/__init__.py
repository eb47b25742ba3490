"""The one door for figures that people type, paste or call out. What has two meanings is given back, never guessed."""

from diag.figures.asked import AGAIN, MOST_ROWS, READINGS, Asked, Understood, check_row, reading_words, typed
from diag.figures.counts import Count, count, counts, k_of_n, log
from diag.figures.numbers import number_in, plain, whole
from diag.figures.values import by_row, measured, read, setting

__all__ = [
    "AGAIN", "MOST_ROWS", "READINGS", "Asked", "Count", "Understood", "by_row", "check_row", "count", "counts",
    "k_of_n", "log", "measured", "number_in", "plain", "read", "reading_words", "setting", "typed", "whole",
]
