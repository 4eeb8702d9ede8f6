"""Spoken numbers to exact values and back: the one module that other rooms import.

`parse` takes words to a `Decimal` or `Fraction` (which forms, and what is refused:
number_parsing.py), `say` and `say_digits` take a value to words (number_words.py), `confusions`
and `is_confusion` tell which numbers are heard for one another (number_confusions.py).

>>> parse("one nineteen".split()), say(parse("one nineteen".split()))
(Decimal('119'), 'one hundred nineteen')
"""

from __future__ import annotations

from companion.number_confusions import confused_sentences, confusions, is_confusion
from companion.number_parsing import NUMBER_WORDS, parse
from companion.number_words import exact_decimal, say, say_digits

__all__ = [
    "NUMBER_WORDS",
    "confused_sentences",
    "confusions",
    "exact_decimal",
    "is_confusion",
    "parse",
    "say",
    "say_digits",
]
